//! The propeller 5868-9 and what NACA 658 has of it (tests/data/naca658/SOURCE.md). The fit of the section constants, which is a test of the
//! library's own, takes this file in by its path.

use fellrun::aircraft::propeller::{Blade, PropellerGeometry, Station};

/// The rows of a committed file of numbers, its heading left out.
pub fn numbers(text: &str) -> Vec<Vec<f64>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    reader
        .records()
        .map(|r| {
            r.expect("committed csv")
                .iter()
                .map(|f| f.parse().expect("committed number"))
                .collect()
        })
        .collect()
}

/// Blade setting in degrees, J, efficiency, C_T, C_P.
pub fn coefficients() -> Vec<Vec<f64>> {
    numbers(include_str!("../data/naca658/coefficients.csv"))
}

pub fn naca_5868_9() -> PropellerGeometry {
    // Radii in feet; tip radius 5 ft, diameter 10 ft = 3.048 m.
    let stations: Vec<Station> = numbers(include_str!("../data/naca658/geometry.csv"))
        .into_iter()
        .map(|f| Station {
            radius: f[0] / 5.0,
            chord: f[1] / 5.0,
            thickness: f[2] / f[1],
            twist_rad: f[3].to_radians(),
        })
        .collect();
    let blade = Blade::from_stations(&stations).expect("committed geometry");
    PropellerGeometry::new(3.048, 3, blade).expect("committed geometry")
}
