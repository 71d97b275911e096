//! The table of a bulletin: its levels, rows and groups.

use std::collections::HashMap;

use super::heading::Heading;
use super::line::{BulletinError, Line};
use super::note::Note;
use super::{Bulletin, Group, ID_WIDTH, Level, StationForecast, WHOLE_TEXT, Wind};
use crate::air::Datum;
use crate::quantity::{M_PER_FT, M_S_PER_KT, ZERO_C_K};

/// First level given as pressure altitude (ft).
const FIRST_PRESSURE_LEVEL_FT: f64 = 18_000.0;
/// Highest label accepted as a level (ft).
const HIGHEST_LEVEL_FT: u32 = 60_000;
/// Speed coded 99 with 100 added: "199 knots or more".
const CAPPED_SPEED_KT: u32 = 199;
/// Way out for damage in the body of a bulletin.
const FETCH_AGAIN: &str = "fetch the bulletin again, or delete this row to do without the station";

/// A table being read.
pub(super) struct Table {
    pub(super) bulletin: Bulletin,
    /// Column of the `F` of `FT`.
    margin: usize,
    negative_above_ft: u32,
    /// Line of the `FT` heading.
    pub(super) line: usize,
    /// Where each station stands in the bulletin, so that a long text stays quick to read.
    index: HashMap<String, usize>,
}

pub(super) fn begin_table(
    line: &Line,
    text: &str,
    heading: Option<&mut Heading>,
) -> Result<Table, BulletinError> {
    let Some(open) = heading else {
        return Err(line.error(0, text, "a DATA BASED ON line before the table", WHOLE_TEXT));
    };
    let Some(valid) = open.valid else {
        return Err(line.error(
            0,
            text,
            "a VALID line like VALID 310600Z before it",
            WHOLE_TEXT,
        ));
    };
    open.tables += 1;
    let notes = match open.for_use {
        Some(_) => Vec::new(),
        None => vec![Note::NoPeriodOfUse { line: line.number }],
    };
    Ok(Table {
        bulletin: Bulletin {
            based_on: open.based_on,
            valid,
            for_use: open.for_use,
            levels: read_levels(line)?,
            stations: Vec::new(),
            notes,
        },
        margin: line.indent(),
        negative_above_ft: open.negative_above_ft,
        line: line.number,
        index: HashMap::new(),
    })
}

/// What a forecast level \[ft\] is measured from, by the rule of the module header.
pub(in crate::files) fn datum_of_level(altitude_ft: f64) -> Datum {
    if altitude_ft < FIRST_PRESSURE_LEVEL_FT {
        Datum::TrueAltitude
    } else {
        Datum::PressureAltitude
    }
}

/// The levels of an `FT` line and their columns.
fn read_levels(line: &Line) -> Result<Vec<Level>, BulletinError> {
    const WAY_OUT: &str = "restore the FT line as issued; the columns of the table hang on it";
    let margin = line.indent();
    let chars = line.chars.get(margin..).unwrap_or(&[]);
    let mut levels: Vec<Level> = Vec::new();
    // past the two letters FT
    let mut i = 2;
    while let Some(&c) = chars.get(i) {
        if c == ' ' {
            i += 1;
            continue;
        }
        let label: String = chars.iter().skip(i).take_while(|c| **c != ' ').collect();
        let last = i + label.chars().count() - 1;
        let wrong = |expected: &str| line.error(margin + i, &label, expected, WAY_OUT);
        let label_ft: u32 = match label.parse() {
            Ok(ft) if label.len() >= 4 && ft <= HIGHEST_LEVEL_FT && ft > 0 => ft,
            _ => return Err(wrong("a level in feet, like 9000")),
        };
        if levels
            .last()
            .is_some_and(|below| label_ft <= below.label_ft)
        {
            return Err(wrong("levels that rise from left to right"));
        }
        let first = levels.last().map_or(ID_WIDTH, |below| below.columns.1 + 1);
        // a separating blank and the four figures of a wind
        if last < first + 4 {
            return Err(wrong("labels far enough apart for the groups under them"));
        }
        levels.push(Level {
            label_ft,
            height_m: f64::from(label_ft) * M_PER_FT,
            datum: datum_of_level(f64::from(label_ft)),
            columns: (first, last),
        });
        i = last + 1;
    }
    if levels.is_empty() {
        return Err(line.error(margin + 2, &line.text(), "levels after FT", WAY_OUT));
    }
    Ok(levels)
}

impl Table {
    pub(super) fn read_row(&mut self, line: &Line) -> Result<(), BulletinError> {
        let row = line.chars.get(self.margin..).unwrap_or(&[]);
        let id: String = row.iter().take(ID_WIDTH).collect();
        let in_place = line.indent() == self.margin;
        if !in_place || id.len() != ID_WIDTH || !id.chars().all(|c| c.is_ascii_alphanumeric()) {
            return Err(line.error(
                line.indent(),
                &line.text(),
                &format!(
                    "a station of three letters or figures from column {}",
                    self.margin + 1
                ),
                FETCH_AGAIN,
            ));
        }
        if let Some(tab) = row.iter().position(|c| *c == '\t') {
            let mut error = line.error(
                self.margin + tab,
                "a tab",
                "blanks, since columns count",
                "save the bulletin as plain text with its blanks",
            );
            error.station = Some(id);
            return Err(error);
        }
        let levels = self.read_fields(line, row).map_err(|mut error| {
            error.station = Some(id.clone());
            error
        })?;
        self.remark(line.number, &id, &levels);
        if !self.index.contains_key(&id) {
            self.index.insert(id.clone(), self.bulletin.stations.len());
            self.bulletin.stations.push(StationForecast {
                id,
                levels,
                line: line.number,
            });
        }
        Ok(())
    }

    fn read_fields(&self, line: &Line, row: &[char]) -> Result<Vec<Option<Group>>, BulletinError> {
        let mut groups = Vec::with_capacity(self.bulletin.levels.len());
        let mut end = ID_WIDTH;
        for level in &self.bulletin.levels {
            let (first, last) = level.columns;
            end = last + 1;
            let field: Vec<char> = row
                .iter()
                .skip(first)
                .take(last + 1 - first)
                .copied()
                .collect();
            let text: String = field.iter().collect();
            let lead = field.iter().take_while(|c| **c == ' ').count();
            if lead == field.len() {
                groups.push(None);
                continue;
            }
            let group = text.trim();
            let wrong = |expected: &str| {
                line.error(self.margin + first + lead, group, expected, FETCH_AGAIN)
            };
            if lead == 0 {
                // show the whole word that stands across the boundary
                let from = row
                    .iter()
                    .take(first)
                    .rposition(|c| *c == ' ')
                    .map_or(0, |i| i + 1);
                let word: String = row.iter().skip(from).take_while(|c| **c != ' ').collect();
                return Err(line.error(
                    self.margin + from,
                    &word,
                    &format!(
                        "a blank in column {} before the group at {} ft",
                        self.margin + first + 1,
                        level.label_ft
                    ),
                    FETCH_AGAIN,
                ));
            }
            groups.push(Some(
                read_group(group, level, self.negative_above_ft).map_err(|e| wrong(&e))?,
            ));
        }
        if let Some(extra) = row.iter().skip(end).position(|c| *c != ' ') {
            let text: String = row.iter().skip(end + extra).collect();
            return Err(line.error(
                self.margin + end + extra,
                &text,
                "nothing after the field of the last level",
                FETCH_AGAIN,
            ));
        }
        Ok(groups)
    }

    fn remark(&mut self, line: usize, id: &str, levels: &[Option<Group>]) {
        let station = id.to_owned();
        let notes = &mut self.bulletin.notes;
        let first = self
            .index
            .get(id)
            .and_then(|i| self.bulletin.stations.get(*i));
        if let Some(first) = first {
            notes.push(Note::Repeated {
                line,
                station,
                same: first.levels == levels,
            });
            return;
        }
        let given = levels.iter().position(Option::is_some);
        let Some(given) = given else {
            notes.push(Note::EmptyRow { line, station });
            return;
        };
        for (level, group) in self.bulletin.levels.iter().zip(levels) {
            if group.is_some_and(|g| g.capped) {
                let station = station.clone();
                notes.push(Note::Capped {
                    line,
                    station,
                    level_ft: level.label_ft,
                });
            }
        }
        let missing = levels.iter().skip(given).position(Option::is_none);
        if let Some(level) = missing.and_then(|i| self.bulletin.levels.get(given + i)) {
            notes.push(Note::CutShort {
                line,
                station,
                level_ft: level.label_ft,
            });
        }
    }
}

/// Decodes one group, blanks removed, by the table of the module header; the error says what was expected.
fn read_group(group: &str, level: &Level, negative_above_ft: u32) -> Result<Group, String> {
    let unsigned = level.label_ft > negative_above_ft;
    let form = || {
        let examples = if unsigned {
            "273645 or 990045"
        } else {
            "2715, 2715+05, 2715-05 or 9900"
        };
        format!("a group like {examples} at {} ft", level.label_ft)
    };
    if !group.is_ascii() {
        return Err(form());
    }
    let (wind, temperature) = group.split_at(group.len().min(4));
    if wind.len() != 4 || !wind.chars().all(|c| c.is_ascii_digit()) {
        return Err(form());
    }
    let two_figures = |t: &str| -> Option<f64> {
        let plain = t.len() == 2 && t.chars().all(|c| c.is_ascii_digit());
        t.parse().ok().filter(|_| plain)
    };
    let celsius = match temperature.chars().next() {
        None if unsigned => return Err(form()),
        None => None,
        Some('-') => Some(-two_figures(&temperature[1..]).ok_or_else(form)?),
        Some('+') if !unsigned => Some(two_figures(&temperature[1..]).ok_or_else(form)?),
        Some(_) if unsigned => Some(-two_figures(temperature).ok_or_else(form)?),
        Some(_) => return Err(form()),
    };
    if celsius.is_some_and(|c| c > HOTTEST_C) {
        return Err(format!(
            "a temperature of at most +{HOTTEST_C} degrees Celsius"
        ));
    }
    let tens: u32 = wind[..2].parse().map_err(|_| form())?;
    let knots: u32 = wind[2..].parse().map_err(|_| form())?;
    let temperature_k = celsius.map(|c| c + ZERO_C_K);
    let (tens, knots) = match tens {
        1..=36 => (tens, knots),
        51..=86 => (tens - 50, knots + 100),
        99 if knots == 0 => {
            return Ok(Group {
                wind: Wind::LightAndVariable,
                temperature_k,
                capped: false,
            });
        }
        _ => {
            return Err("a direction of 01 to 36, 51 to 86 from 100 knots, or 9900".to_owned());
        }
    };
    Ok(Group {
        wind: Wind::From {
            direction_rad: f64::from(tens * 10).to_radians(),
            speed_m_s: f64::from(knots) * M_S_PER_KT,
        },
        temperature_k,
        capped: knots == CAPPED_SPEED_KT,
    })
}

/// Hottest temperature accepted (degrees Celsius); no free air at a bulletin's levels comes near it.
const HOTTEST_C: f64 = 60.0;
