//! Layers of cloud as a trip gives them: `[[weather.cloud]]` with `base_ft`, `top_ft`, and where it does not cover the whole route
//! `from_nm`, `to_nm` along it. Heights are what the altimeter shows, above mean sea level, not above ground.

use super::sheet::{Section, Sheet};
use crate::quantity::{M_PER_FT, M_PER_NM};
use crate::trip::Cloud;

/// Reads the rows of the section `[weather]`.
pub(super) fn clouds(sheet: &Sheet<'_>, weather: &Section<'_>) -> Vec<Cloud> {
    let mut out = Vec::new();
    for row in weather.rows("cloud") {
        let base = row.number("base_ft", "altitude");
        let top = row.number("top_ft", "altitude");
        let from = row.optional("from_nm", "distance");
        let to = row.optional("to_nm", "distance");
        row.finish();
        sheet.rising(&[&base, &top]);
        if let (Some(from), Some(to)) = (&from, &to) {
            sheet.rising(&[from, to]);
        }
        out.push(Cloud {
            base_m: base.value * M_PER_FT,
            top_m: top.value * M_PER_FT,
            from_m: from.map_or(f64::NEG_INFINITY, |n| n.value * M_PER_NM),
            to_m: to.map_or(f64::INFINITY, |n| n.value * M_PER_NM),
        });
    }
    out
}
