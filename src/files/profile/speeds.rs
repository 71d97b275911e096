//! Speeds: `[speeds]`.

use super::{ft, kt, rows_rise};
use crate::aircraft::{Gear, Speeds};
use crate::files::sheet::{Num, Section, Sheet};

/// The speeds, and the numbers that other sections are checked against.
pub(super) struct ReadSpeeds {
    pub(super) speeds: Speeds,
    pub(super) vs: Num,
    pub(super) vno: Num,
}

pub(super) fn speeds(sheet: &Sheet<'_>, section: Section<'_>, gear: Gear) -> ReadSpeeds {
    let vs = section.number("vs_kt", "speed");
    let va = section.number("va_kt", "speed");
    let vno = section.number("vno_kt", "speed");
    let vne = section.number("vne_kt", "speed");
    // a gear that stays down limits no speed
    let gear_speeds = match gear {
        Gear::Retractable => Some((
            section.number("vlo_extend_kt", "speed"),
            section.number("vlo_retract_kt", "speed"),
            section.number("vle_kt", "speed"),
        )),
        Gear::Fixed => None,
    };
    let cooling = section.number("least_cooling_kt", "speed");
    if !section.has("vy") {
        section.missing("vy", "rows like { altitude_ft = 0, ias_kt = 90 }");
    }
    let mut altitudes = Vec::new();
    let mut best_rate = Vec::new();
    for row in section.rows("vy") {
        altitudes.push(row.number("altitude_ft", "altitude"));
        best_rate.push(row.number("ias_kt", "speed"));
        row.finish();
    }
    let (mut indicated, mut calibrated) = (Vec::new(), Vec::new());
    for row in section.rows("correction") {
        indicated.push(row.number("ias_kt", "speed"));
        calibrated.push(row.number("cas_kt", "speed"));
        row.finish();
    }
    section.source_and_notes();
    section.finish();
    sheet.rising(&[&vs, &va]);
    sheet.at_least(&vno, &va);
    sheet.rising(&[&vno, &vne]);
    rows_rise(sheet, &altitudes);
    for vy in &best_rate {
        sheet.rising(&[&vs, vy]);
        sheet.rising(&[vy, &vno]);
    }
    rows_rise(sheet, &indicated);
    rows_rise(sheet, &calibrated);
    if let Some((extend, retract, vle)) = &gear_speeds {
        for gear in [extend, retract, vle] {
            sheet.rising(&[&vs, gear]);
            sheet.at_least(&vne, gear);
        }
        // a gear that may be lowered at a speed may be flown with at that speed
        sheet.at_least(vle, extend);
    }
    sheet.rising(&[&cooling, &vno]);
    let vy_m_s = altitudes
        .iter()
        .zip(&best_rate)
        .map(|(a, v)| (ft(a), kt(v)))
        .collect();
    let (extend, retract, vle) = gear_speeds
        .as_ref()
        .map_or((&vne, &vne, &vne), |(extend, retract, vle)| {
            (extend, retract, vle)
        });
    ReadSpeeds {
        speeds: Speeds {
            vs_m_s: kt(&vs),
            va_m_s: kt(&va),
            vno_m_s: kt(&vno),
            vne_m_s: kt(&vne),
            vy_m_s,
            vlo_extend_m_s: kt(extend),
            vlo_retract_m_s: kt(retract),
            vle_m_s: kt(vle),
            least_cooling_m_s: kt(&cooling),
            correction: indicated
                .iter()
                .zip(&calibrated)
                .map(|(ias, cas)| (kt(ias), kt(cas)))
                .collect(),
        },
        vs,
        vno,
    }
}
