//! The angle between the x direction of a grid and east.

use grib::GridDefinitionTemplateValues as Template;
use grib::def::grib2::template::param_set;

/// Whether the winds of a grid are relative to it (flag table 3.3, bit 5, the first bit being the highest).
pub(super) fn turned(template: &Template) -> bool {
    const RELATIVE: u8 = 0b0000_1000;
    let param_set::ResolutionAndComponentFlags(flags) = match template {
        Template::Template0(t) => t.lat_lon.grid.resolution_and_component_flags,
        Template::Template1(t) => t.lat_lon.grid.resolution_and_component_flags,
        Template::Template10(t) => t.resolution_and_component_flags,
        Template::Template20(t) => t.resolution_and_component_flags,
        Template::Template30(t) => t.resolution_and_component_flags,
        Template::Template40(t) => t.gaussian.grid.resolution_and_component_flags,
        Template::Template41(t) => t.gaussian.grid.resolution_and_component_flags,
        _ => return false,
    };
    flags & RELATIVE != 0
}

/// Angle (rad) from true north to the grid's y direction at a place (deg), clockwise; so much is east turned from the x direction.
pub(super) fn turn(template: &Template, (lat_deg, lon_deg): (f64, f64)) -> f64 {
    const UNIT_DEG: f64 = 1e-6;
    let from = |meridian_deg: f64| {
        let off = (lon_deg - meridian_deg).rem_euclid(360.0);
        if off > 180.0 { off - 360.0 } else { off }.to_radians()
    };
    match template {
        Template::Template20(t) => {
            let n = if t
                .projection_centre
                .contains_north_pole_on_projection_plane()
            {
                1.0
            } else {
                -1.0
            };
            n * from(f64::from(t.lov) * UNIT_DEG)
        }
        Template::Template30(t) => {
            let latin = |x: i32| (f64::from(x) * UNIT_DEG).to_radians();
            cone_constant(latin(t.latin1), latin(t.latin2)) * from(f64::from(t.lov) * UNIT_DEG)
        }
        Template::Template1(t) => from_pole(&t.rotation, lat_deg, lon_deg),
        Template::Template41(t) => from_pole(&t.rotation, lat_deg, lon_deg),
        // x runs along the parallels
        _ => 0.0,
    }
}

/// Cone constant n of the Lambert conformal projection with two standard parallels (rad): Snyder, equation 15-8 for two, and
/// sin of it for one.
pub fn cone_constant(first_rad: f64, second_rad: f64) -> f64 {
    if (first_rad - second_rad).abs() < 1e-9 {
        return first_rad.sin();
    }
    let quarter = std::f64::consts::FRAC_PI_4;
    (first_rad.cos() / second_rad.cos()).ln()
        / ((quarter + 0.5 * second_rad).tan() / (quarter + 0.5 * first_rad).tan()).ln()
}

/// The angle between the parallel of a rotated grid and the true one: x runs along `pole x place` of the grid's own north pole.
fn from_pole(rotation: &param_set::Rotation, lat_deg: f64, lon_deg: f64) -> f64 {
    let unit = |lat: f64, lon: f64| {
        let ((slat, clat), (slon, clon)) = (lat.sin_cos(), lon.sin_cos());
        [clat * clon, clat * slon, slat]
    };
    let south = unit(
        (f64::from(rotation.south_pole_lat) * 1e-6).to_radians(),
        (f64::from(rotation.south_pole_lon) * 1e-6).to_radians(),
    );
    let (lat, lon) = (lat_deg.to_radians(), lon_deg.to_radians());
    let r = unit(lat, lon);
    let p = south.map(|x| -x);
    let x = [
        p[1] * r[2] - p[2] * r[1],
        p[2] * r[0] - p[0] * r[2],
        p[0] * r[1] - p[1] * r[0],
    ];
    let dot = |a: [f64; 3]| (0..3).map(|i| a[i] * x[i]).sum::<f64>();
    let east = [-lon.sin(), lon.cos(), 0.0];
    let north = unit(lat + std::f64::consts::FRAC_PI_2, lon);
    // x = east cos(a) - north sin(a)
    (-dot(north)).atan2(dot(east))
}
