//! The propeller: `[propeller]`.

use super::{choice_or, inhg, rows_rise, rpm};
use crate::aircraft::propeller::{
    Blade, GeometryError, PropellerGeometry, PropellerTable, Station, Stops,
};
use crate::aircraft::{AvoidBand, Feathered, HubWithoutOil, Propeller};
use crate::files::sheet::{Num, Section, Sheet};
use crate::quantity::M_PER_FT;

/// Metres in an inch (exact).
const M_PER_IN: f64 = M_PER_FT / 12.0;
/// Blade angle of a feathered propeller when the profile gives none, degrees: a twisted blade turns least a little below 90
/// (common practice, no source).
const FEATHERED_PITCH_DEG: f64 = 85.0;

/// A blade as the profile gives it.
enum BladeShape {
    Standard(f64),
    Stations(Vec<Station>),
}

/// Everything of the propeller but its table, which takes time to build.
pub(super) struct Blank {
    diameter_m: f64,
    blades: u32,
    shape: BladeShape,
    stops: Stops,
    governed_rev_s: (f64, f64),
    hub: HubWithoutOil,
    avoid: Vec<AvoidBand>,
    installed_factor: f64,
    feathered_rad: Option<f64>,
    pub(super) fixed: bool,
}

impl Blank {
    pub(super) fn build(self) -> Result<Propeller, GeometryError> {
        let blade = match self.shape {
            BladeShape::Standard(chord_scale) => Blade::standard(chord_scale)?,
            BladeShape::Stations(stations) => Blade::from_stations(&stations)?,
        };
        let geometry = PropellerGeometry::new(self.diameter_m, self.blades, blade)?;
        Ok(Propeller {
            table: PropellerTable::build(&geometry, self.stops.low_rad, self.stops.high_rad)?,
            stops: self.stops,
            lowest_governed_rev_s: self.governed_rev_s.0,
            highest_governed_rev_s: self.governed_rev_s.1,
            hub: self.hub,
            avoid: self.avoid,
            installed_factor: self.installed_factor,
            feathered: self
                .feathered_rad
                .map(|angle_rad| Feathered::new(&geometry, angle_rad)),
        })
    }
}

/// The propeller, and its lowest and highest governed speed (fixed pitch: lowest to set, and greatest).
pub(super) fn propeller(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    rated: &Num,
) -> (Blank, (Num, Num)) {
    let diameter = section.number("diameter_in", "propeller diameter");
    let blades = section.count("blades", "blades");
    let shape = blade_shape(sheet, &section);
    // constant speed unless it says fixed
    let kinds = [("constant-speed", false), ("fixed", true)];
    let fixed = choice_or(&section, "kind", &kinds);
    let (low, high, lowest, highest, hub, feathered) = if fixed {
        let pitch = section.number("pitch_deg", "blade angle");
        let lowest = section.number("lowest_rpm", "rpm");
        let redline = section.number("redline_rpm", "rpm");
        (pitch.clone(), pitch, lowest, redline, None, None)
    } else {
        let low = section.number("low_pitch_deg", "blade angle");
        let high = section.number("high_pitch_deg", "blade angle");
        let lowest = section.number("lowest_governed_rpm", "rpm");
        let highest = section.number("highest_governed_rpm", "rpm");
        let hub = section.choice(
            "without_oil",
            &[
                ("fine", HubWithoutOil::Fine),
                ("coarse", HubWithoutOil::Coarse),
            ],
        );
        let feathered = section
            .flag("feathers")
            .then(|| section.number_or("feathered_pitch_deg", "blade angle", FEATHERED_PITCH_DEG));
        sheet.rising(&[&low, &high]);
        if let Some(feathered) = &feathered {
            sheet.rising(&[&high, feathered]);
        }
        (low, high, lowest, highest, hub, feathered)
    };
    let factor = section.number("installed_factor", "factor");
    let mut avoid = Vec::new();
    for row in section.rows("avoid") {
        let from = row.number("from_rpm", "rpm");
        let to = row.number("to_rpm", "rpm");
        let above = row.optional("above_map_inhg", "manifold pressure");
        row.finish();
        sheet.rising(&[&from, &to]);
        avoid.push(AvoidBand {
            from_rev_s: rpm(&from),
            to_rev_s: rpm(&to),
            above_map_pa: above.as_ref().map_or(0.0, inhg),
        });
    }
    section.source_and_notes();
    section.finish();
    sheet.rising(&[&lowest, &highest]);
    sheet.at_least(rated, &highest);
    let blank = Blank {
        diameter_m: diameter.value * M_PER_IN,
        blades,
        shape,
        stops: Stops {
            low_rad: low.value.to_radians(),
            high_rad: high.value.to_radians(),
        },
        governed_rev_s: (rpm(&lowest), rpm(&highest)),
        hub: hub.unwrap_or(HubWithoutOil::Fine),
        avoid,
        installed_factor: factor.value,
        feathered_rad: feathered.map(|angle| angle.value.to_radians()),
        fixed,
    };
    (blank, (lowest, highest))
}

fn blade_shape(sheet: &Sheet<'_>, section: &Section<'_>) -> BladeShape {
    let planform = section.has("planform");
    if section.has("station") {
        let mut stations = Vec::new();
        let mut radii = Vec::new();
        for row in section.rows("station") {
            let radius = row.number("radius", "blade station");
            stations.push(Station {
                radius: radius.value,
                chord: row.number("chord", "blade chord").value,
                thickness: row.number("thickness", "blade thickness").value,
                twist_rad: row.number("twist_deg", "blade twist").value.to_radians(),
            });
            radii.push(radius);
            row.finish();
        }
        rows_rise(sheet, &radii);
        if planform || section.has("chord_scale") {
            let at = Num {
                value: f64::NAN,
                span: section.span_of(if planform { "planform" } else { "chord_scale" }),
                key: section.path("planform"),
            };
            let message = "the blade has both a planform and measured stations".to_owned();
            sheet.contradiction(
                &at,
                message,
                &[],
                "give planform and chord_scale, or [[propeller.station]] rows",
            );
        }
        return BladeShape::Stations(stations);
    }
    section.choice("planform", &[("standard", ())]);
    BladeShape::Standard(section.number("chord_scale", "chord scale").value)
}
