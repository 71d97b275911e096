//! Winds drawn from a climate: means and spreads of wind and temperature by height.
//!
//! A climate is CSV; lines that begin with `#` are comments, the first other line names the columns, every one of them needed:
//!
//! | column | what |
//! | --- | --- |
//! | `altitude_ft` | height, rising: true altitude, from 18,000 ft pressure altitude, as in bulletins |
//! | `from_west_kt`, `from_west_sd_kt` | wind from the west: mean and standard deviation |
//! | `from_south_kt`, `from_south_sd_kt` | wind from the south |
//! | `correlation_below` | of the wind with that of the level below, -1 to 1; of the lowest it does not matter |
//! | `isa_dev_c`, `isa_dev_sd_c` | temperature above the standard |
//!
//! A drawn wind is the same everywhere and does not change. Its components are normal, each level correlated with the one below alone, the
//! two not with each other; the temperature is off its mean by as many standard deviations at every level. That winds are normal about their
//! mean is common practice, no source.

use std::ops::Range as Span;
use std::path::Path;

use super::bulletin::datum_of_level;
use super::csv_text::{Table, cell_finding, number};
use super::diagnostic::{FileError, Finding, FindingKind, read_text};
use crate::air::{LevelValue, isa};
use crate::quantity::{Draw, Ias, M_PER_FT};

const COLUMNS: [&str; 8] = [
    "altitude_ft",
    "from_west_kt",
    "from_west_sd_kt",
    "from_south_kt",
    "from_south_sd_kt",
    "correlation_below",
    "isa_dev_c",
    "isa_dev_sd_c",
];
/// The range each column is checked against.
const RANGES: [&str; 8] = [
    "altitude",
    "wind component",
    "wind speed",
    "wind component",
    "wind speed",
    "correlation",
    "isa deviation",
    "temperature difference",
];
const HINT: &str = "the first line names the columns: altitude_ft,from_west_kt,from_west_sd_kt,from_south_kt,from_south_sd_kt,correlation_below,isa_dev_c,isa_dev_sd_c";
/// Drawn winds are kept within this many standard deviations.
const WIDEST: f64 = 4.0;
/// Stands for the topic of the numbers drawn: those of the exercises are from nought upwards.
const TOPIC: u8 = 0xc1;

/// The climate that comes with the crate.
const SHIPPED: &str = include_str!("climate/us-january-april.csv");
/// What it is, in words.
pub const SHIPPED_NAME: &str = "the United States in January and April 2026 (twelve bulletins)";

/// One level of a climate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClimateLevel {
    /// Height, ft: see the head of this module.
    pub altitude_ft: f64,
    /// Mean wind to the east and to the north, m/s.
    pub mean_m_s: [f64; 2],
    /// Their standard deviations, m/s.
    pub sd_m_s: [f64; 2],
    /// Correlation with the level below.
    pub correlation_below: f64,
    /// Mean temperature above the standard, K.
    pub isa_dev_k: f64,
    /// Its standard deviation, K.
    pub isa_dev_sd_k: f64,
}

/// Winds and temperatures by height as they are spread.
#[derive(Debug, Clone, PartialEq)]
pub struct Climate {
    /// What it is, in words.
    pub name: String,
    /// Levels, lowest first; at least one.
    pub levels: Vec<ClimateLevel>,
}

/// Whether a text is meant to be a climate, by its first line.
pub fn looks_like_climate(text: &str) -> bool {
    let head = text
        .lines()
        .find(|l| !l.trim().is_empty() && !l.starts_with('#'));
    head.is_some_and(|head| head.contains("altitude_ft") && head.contains("from_west_kt"))
}

/// Reads a climate.
///
/// # Errors
/// [`FileError`] with everything that is wrong with it.
pub fn load_climate(path: &Path) -> Result<Climate, FileError> {
    let text = read_text(path)?;
    parse_climate(&text, path, &path.display().to_string())
}

/// The climate that comes with the crate: see `SOURCE.md` beside it.
///
/// # Errors
/// Never, as a test makes sure.
pub fn shipped_climate() -> Result<Climate, FileError> {
    parse_climate(SHIPPED, Path::new("us-january-april.csv"), SHIPPED_NAME)
}

/// The same from its text; `name` says what it is.
///
/// # Errors
/// As [`load_climate`].
pub fn parse_climate(text: &str, path: &Path, name: &str) -> Result<Climate, FileError> {
    let text = super::diagnostic::without_mark(text);
    let mut findings: Vec<Finding> = Vec::new();
    let mut levels: Vec<ClimateLevel> = Vec::new();
    if let Some(table) = Table::new(text, &COLUMNS, HINT, &mut findings) {
        let places = COLUMNS.map(|name| {
            let place = table.column(name);
            if place.is_none() {
                table.misses(name, HINT, &mut findings);
            }
            place
        });
        for line in &table.lines {
            let Some(row) = table.row(line, &mut findings) else {
                continue;
            };
            let values: [Option<f64>; 8] = std::array::from_fn(|i| {
                let cell = row.get(places[i]?)?;
                if cell.0.is_empty() {
                    let message = format!("{} is missing", COLUMNS[i]);
                    findings.push(cell_finding(
                        FindingKind::Missing,
                        COLUMNS[i],
                        line.clone(),
                        message,
                        "give a number",
                    ));
                    return None;
                }
                number(COLUMNS[i], RANGES[i], cell, "give a number", &mut findings)
            });
            let [
                Some(altitude_ft),
                Some(west),
                Some(west_sd),
                Some(south),
                Some(south_sd),
                Some(correlation_below),
                Some(isa_dev_k),
                Some(isa_dev_sd_k),
            ] = values
            else {
                continue;
            };
            if levels.last().is_some_and(|l| l.altitude_ft >= altitude_ft) {
                findings.push(not_rising(line, altitude_ft));
            }
            levels.push(ClimateLevel {
                altitude_ft,
                mean_m_s: [west, south].map(|kt| Ias::kt(kt).to_m_s()),
                sd_m_s: [west_sd, south_sd].map(|kt| Ias::kt(kt).to_m_s()),
                correlation_below,
                isa_dev_k,
                isa_dev_sd_k,
            });
        }
        if findings.is_empty() && levels.is_empty() {
            findings.push(cell_finding(
                FindingKind::Missing,
                "",
                table.head.clone(),
                "there is no level".to_owned(),
                "give a line for each height, lowest first",
            ));
        }
    }
    if findings.is_empty() {
        Ok(Climate {
            name: name.to_owned(),
            levels,
        })
    } else {
        Err(FileError::new(path, text, findings))
    }
}

fn not_rising(line: &Span<usize>, altitude_ft: f64) -> Finding {
    cell_finding(
        FindingKind::Contradiction,
        "altitude_ft",
        line.clone(),
        format!("altitude_ft = {altitude_ft} is not above the level before"),
        "give the levels lowest first, each once",
    )
}

impl Climate {
    /// The wind of a number, from nought, drawn with a seed: none hangs on another, so that more of them change none
    /// ([`Draw`]).
    pub fn drawn(&self, seed: u64, number: u64) -> Vec<LevelValue> {
        let mut draw = Draw::new(seed, TOPIC, number);
        let mut normal = || {
            loop {
                let x = draw.normal();
                if x.abs() <= WIDEST {
                    return x;
                }
            }
        };
        let warm = normal();
        let mut off = [0.0; 2];
        let mut levels = Vec::with_capacity(self.levels.len());
        for (i, level) in self.levels.iter().enumerate() {
            let like = if i == 0 { 0.0 } else { level.correlation_below };
            for off in &mut off {
                *off = like * *off + (1.0 - like * like).sqrt() * normal();
            }
            let wind: [f64; 2] =
                std::array::from_fn(|k| level.mean_m_s[k] + off[k] * level.sd_m_s[k]);
            let height_m = level.altitude_ft * M_PER_FT;
            levels.push(LevelValue {
                datum: datum_of_level(level.altitude_ft),
                height_m,
                u_m_s: wind[0],
                v_m_s: wind[1],
                temperature_k: Some(
                    isa::temperature_k(height_m) + level.isa_dev_k + warm * level.isa_dev_sd_k,
                ),
            });
        }
        levels
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::bulletin;
    use crate::quantity::{M_S_PER_KT, ZERO_C_K};
    use std::collections::BTreeMap;

    /// Mean, standard deviation of a sample.
    fn moments(x: &[f64]) -> (f64, f64) {
        let n = x.len() as f64;
        let mean = x.iter().sum::<f64>() / n;
        let square: f64 = x.iter().map(|v| (v - mean).powi(2)).sum();
        (mean, (square / (n - 1.0)).sqrt())
    }

    fn correlation(x: &[f64], y: &[f64]) -> f64 {
        let ((mx, sx), (my, sy)) = (moments(x), moments(y));
        let n = x.len() as f64;
        let both: f64 = x.iter().zip(y).map(|(a, b)| (a - mx) * (b - my)).sum();
        both / (n - 1.0) / (sx * sy)
    }

    #[test]
    fn crosscheck_the_climate_is_that_of_the_bulletins() {
        // The file was made in Python from the same bulletins; half of the last digit printed, and float noise.
        const PRINTED: f64 = 0.05 + 1e-6;
        const PRINTED_CORRELATION: f64 = 0.005 + 1e-6;
        type Group = (f64, f64, Option<f64>);
        type Groups = BTreeMap<(String, String), Group>;
        let mut by_level: BTreeMap<u32, Groups> = BTreeMap::new();
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/fb");
        for file in std::fs::read_dir(folder).expect("lists") {
            let path = file.expect("an entry").path();
            let name = path.file_name().expect("a name").display().to_string();
            if !name.starts_with("FBUS") {
                continue;
            }
            let text = std::fs::read_to_string(&path).expect("reads");
            for b in bulletin::decode(&text).expect("a bulletin") {
                for station in &b.stations {
                    for (level, group) in b.levels.iter().zip(&station.levels) {
                        let Some(group) = group else { continue };
                        let (u, v) = group.vector_m_s();
                        let isa_k = isa::temperature_k(f64::from(level.label_ft) * M_PER_FT);
                        let dev = group.temperature_k.map(|t| t - isa_k);
                        let at = (name.clone(), station.id.clone());
                        let of = by_level.entry(level.label_ft).or_default();
                        of.insert(at, (u / M_S_PER_KT, v / M_S_PER_KT, dev));
                    }
                }
            }
        }
        let climate = shipped_climate().expect("in order");
        assert_eq!(climate.levels.len(), by_level.len());
        let mut below: Option<&Groups> = None;
        for (level, (ft, groups)) in climate.levels.iter().zip(&by_level) {
            assert_eq!(level.altitude_ft, f64::from(*ft));
            assert!(groups.len() > 1_000, "{}", groups.len());
            let component = |k: usize| -> Vec<f64> {
                groups
                    .values()
                    .map(|g| if k == 0 { g.0 } else { g.1 })
                    .collect()
            };
            for k in 0..2 {
                let (mean, sd) = moments(&component(k));
                assert!(
                    (level.mean_m_s[k] / M_S_PER_KT - mean).abs() < PRINTED,
                    "{ft}"
                );
                assert!((level.sd_m_s[k] / M_S_PER_KT - sd).abs() < PRINTED, "{ft}");
            }
            let warmth: Vec<f64> = groups.values().filter_map(|g| g.2).collect();
            if !warmth.is_empty() {
                let (mean, sd) = moments(&warmth);
                assert!((level.isa_dev_k - mean).abs() < PRINTED, "{ft}");
                assert!((level.isa_dev_sd_k - sd).abs() < PRINTED, "{ft}");
            }
            if let Some(below) = below {
                let pairs: Vec<_> = groups
                    .iter()
                    .filter_map(|(at, g)| below.get(at).map(|b| (b, g)))
                    .collect();
                let of = |west: bool| {
                    let (a, b): (Vec<f64>, Vec<f64>) = pairs
                        .iter()
                        .map(|(a, b)| if west { (a.0, b.0) } else { (a.1, b.1) })
                        .unzip();
                    correlation(&a, &b)
                };
                let like = 0.5 * (of(true) + of(false));
                assert!(
                    (level.correlation_below - like).abs() < PRINTED_CORRELATION,
                    "{ft}"
                );
            }
            below = Some(groups);
        }
    }

    #[test]
    fn closed_form_drawn_winds_have_the_spread_of_the_climate() {
        // Of 20,000 normal numbers the mean is off by 0.007 standard deviations, their deviation by 0.5 %, a correlation by less than 0.007,
        // each in two of three cases; four times that. Cutting at four standard deviations takes 0.1 % of the variance.
        const N: u64 = 20_000;
        const OFF: f64 = 0.03;
        let climate = shipped_climate().expect("in order");
        let drawn: Vec<Vec<LevelValue>> = (0..N).map(|i| climate.drawn(7, i)).collect();
        let of = |level: usize, k: usize| -> Vec<f64> {
            let pick = |d: &Vec<LevelValue>| {
                if k == 0 {
                    d[level].u_m_s
                } else {
                    d[level].v_m_s
                }
            };
            drawn.iter().map(pick).collect()
        };
        for (i, level) in climate.levels.iter().enumerate() {
            for k in 0..2 {
                let (mean, sd) = moments(&of(i, k));
                assert!(
                    (mean - level.mean_m_s[k]).abs() < OFF * level.sd_m_s[k],
                    "{i}"
                );
                assert!((sd / level.sd_m_s[k] - 1.0).abs() < OFF, "{i}");
                if i > 0 {
                    let like = correlation(&of(i - 1, k), &of(i, k));
                    assert!((like - level.correlation_below).abs() < OFF, "{i}: {like}");
                }
            }
            assert!(correlation(&of(i, 0), &of(i, 1)).abs() < OFF);
            let warmth: Vec<f64> = drawn
                .iter()
                .map(|d| {
                    let isa_k = isa::temperature_k(level.altitude_ft * M_PER_FT);
                    d[i].temperature_k.expect("one at every level") - isa_k
                })
                .collect();
            let (mean, sd) = moments(&warmth);
            assert!((mean - level.isa_dev_k).abs() < OFF * level.isa_dev_sd_k);
            assert!((sd / level.isa_dev_sd_k - 1.0).abs() < OFF);
        }
        // The same again; another with another seed or number.
        assert_eq!(climate.drawn(7, 3), drawn[3]);
        assert_ne!(climate.drawn(8, 3), drawn[3]);
        assert_ne!(drawn[4], drawn[3]);
    }

    #[test]
    fn closed_form_a_climate_that_is_not_in_order_is_told_line_by_line() {
        let told = |text: &str| {
            let e = parse_climate(text, Path::new("c.csv"), "c").expect_err("not in order");
            e.render(false)
        };
        let head = "altitude_ft,from_west_kt,from_west_sd_kt,from_south_kt,from_south_sd_kt,correlation_below,isa_dev_c,isa_dev_sd_c";
        for (rows, words) in [
            ("", "no level"),
            ("3000,5,5,0,5,0,0,5\n3000,5,5,0,5,0.9,0,5", "not above"),
            ("3000,5,5,0,5,1.5,0,5", "correlation_below"),
            ("3000,5,5,0,5,0,0", "7 cells"),
            ("3000,5,-5,0,5,0,0,5", "from_west_sd_kt"),
            ("3000,5,,0,5,0,0,5", "missing"),
        ] {
            let told = told(&format!("{head}\n{rows}\n"));
            assert!(told.contains(words), "{told}");
        }
        // Cut anywhere it is told too, or is a shorter one.
        for end in 0..SHIPPED.len() {
            let cut = parse_climate(&SHIPPED[..end], Path::new("c.csv"), "c");
            assert!(
                cut.is_err() || cut.is_ok_and(|c| !c.levels.is_empty()),
                "{end}"
            );
        }
        assert!(told("altitude_ft\n3000\n").contains("no column from_west_kt"));
        // Warm by so much: 15 C at sea level less 1.98 in each 1,000 ft.
        let one = format!("{head}\n3000,5,0,0,0,0,0,0\n");
        let c = parse_climate(&one, Path::new("c.csv"), "c").expect("in order");
        let level = c.drawn(1, 1)[0];
        assert!((level.temperature_k.expect("one") - ZERO_C_K - (15.0 - 5.94)).abs() < 0.01);
        assert!((level.u_m_s - 5.0 * M_S_PER_KT).abs() < 1e-12);
    }
}
