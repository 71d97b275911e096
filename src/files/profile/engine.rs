//! The engine: `[engine]`.

use super::{choice_or, ft, inhg, rows_fall, rpm};
use crate::aircraft::{EngineSpec, Induction, Mixture, Turbo, engine};
use crate::files::diagnostic::quoted;
use crate::files::sheet::{Num, Section, Sheet};
use crate::quantity::{Duration, M3_PER_CUIN, PA_PER_INHG, W_PER_HP};

/// Pascals in a bar (exact).
const PA_PER_BAR: f64 = 1e5;

/// The engine's figures, how fuel meets air, and its rated speed.
pub(super) fn engine(
    sheet: &Sheet<'_>,
    section: Section<'_>,
    kg_per_gal: f64,
) -> (EngineSpec, Induction, Num) {
    let displacement = section.number("displacement_cuin", "displacement");
    let ratio = section.number("compression_ratio", "compression ratio");
    let power = section.number("rated_power_hp", "power");
    let rated = section.number("rated_rpm", "rpm");
    let loss = section.number("induction_loss_inhg", "pressure difference");
    let ram = section.number("ram_recovery", "fraction");
    let volumetric = section.number("volumetric_efficiency", "volumetric efficiency");
    let heating = section.number("charge_heating_c", "temperature difference");
    let friction = section.numbers("friction_bar", "friction coefficient");
    let idle = section.number("idle_gph", "fuel flow");
    let inductions = [
        ("injected", Induction::Injected),
        ("carburettor", Induction::Carburettor),
    ];
    let induction = choice_or(&section, "induction", &inductions);
    let turbo = section
        .has("turbo")
        .then(|| turbo(section.section("turbo")));
    if !friction.is_empty() && friction.len() != 3 {
        let at = Num {
            value: f64::NAN,
            span: section.span_of("friction_bar"),
            key: section.path("friction_bar"),
        };
        let message = format!(
            "{} has {} number(s), but 3 belong there",
            at.key,
            friction.len()
        );
        let hint = "give c0, c1 and c2 of c0 + c1 n + c2 n^2, n in thousands of rpm";
        sheet.contradiction(&at, message, &[], hint);
    }
    if !section.has("mixture") {
        section.missing("mixture", "rows headed [[engine.mixture]]");
    }
    let (mut names, mut ratios, mut powers, mut greatest) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for row in section.rows("mixture") {
        names.push(row.text("name", "the name of the setting"));
        ratios.push(row.number("fuel_air", "fuel-air ratio"));
        powers.push(row.number("relative_power", "relative power"));
        greatest.push(row.number("max_power_percent", "power percent"));
        row.finish();
    }
    section.source_and_notes();
    section.finish();
    rows_fall(sheet, &ratios, "mixtures stand richest first");
    for (i, (name, ratio)) in names.iter().zip(&ratios).enumerate() {
        if !name.is_empty() && names[..i].contains(name) {
            let message = format!("two mixtures are called {}", quoted(name));
            sheet.contradiction(ratio, message, &[], "give each its own name");
        }
    }
    if let Some(first) = greatest.first()
        && first.value < 100.0
    {
        let message = format!(
            "{} = {} leaves no mixture for take-off power",
            first.key, first.value
        );
        sheet.contradiction(
            first,
            message,
            &[],
            "the richest mixture must be allowed up to 100 percent",
        );
    }
    let mixtures = names.into_iter().zip(&ratios).zip(&powers).zip(&greatest);
    let mixtures = mixtures.map(|(((name, fuel_air), relative), max)| Mixture {
        name,
        fuel_air: fuel_air.value,
        relative_power: relative.value,
        max_power_fraction: max.value / 100.0,
    });
    let friction = |i: usize| friction.get(i).map_or(f64::NAN, |c| c.value * PA_PER_BAR);
    let spec = EngineSpec {
        displacement_m3: displacement.value * M3_PER_CUIN,
        compression_ratio: ratio.value,
        rated_power_w: power.value * W_PER_HP,
        rated_rev_s: rpm(&rated),
        induction_loss_pa: loss.value * PA_PER_INHG,
        ram_recovery: ram.value,
        volumetric_efficiency: volumetric.value,
        charge_heating_k: heating.value,
        friction_pa: [friction(0), friction(1), friction(2)],
        idle_fuel_kg_s: idle.value * kg_per_gal / Duration::h(1.0).to_s(),
        mixtures: mixtures.collect(),
        turbo,
    };
    (spec, induction, rated)
}

fn turbo(section: Section<'_>) -> Turbo {
    let critical = section.number("critical_altitude_ft", "altitude");
    let map = section.number("rated_map_inhg", "manifold pressure");
    let rise = section.number_or(
        "exhaust_rise",
        "exhaust pressure rise",
        engine::DEFAULT_EXHAUST_RISE,
    );
    let compressor = section.number_or(
        "compressor_efficiency",
        "compressor efficiency",
        engine::DEFAULT_COMPRESSOR_EFFICIENCY,
    );
    let intercooler = section.number_or("intercooler", "fraction", 0.0);
    section.source_and_notes();
    section.finish();
    Turbo {
        critical_altitude_m: ft(&critical),
        rated_map_pa: inhg(&map),
        exhaust_rise: rise.value,
        compressor_efficiency: compressor.value,
        intercooler: intercooler.value,
    }
}
