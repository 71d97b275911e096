//! The log of a season: which trips are flown in a year, and how often.
//!
//! CSV with a first line that names the columns; lines that begin with `#` are comments; a cell may be left empty. One row for each trip:
//!
//! | column | what |
//! | --- | --- |
//! | `times` | how often a year it is flown; needed |
//! | `trip` | a trip file, its path from the folder of the log; or instead: |
//! | `from`, `via`, `to` | places as for a trip without a file; points on the way parted by blanks |
//! | `name` | what it is called (the title of the trip file, else its ends) |
//! | `fuel_gal` | fuel on board, or `least` (the least that leaves the reserve) |
//! | `people_lb`, `baggage_lb` | load (one person of 190 lb; none) |
//! | `minimum_altitude_ft` | least cruise altitude, for all its legs (none but the ground's, which is not known) |
//! | `max_altitude_ft` | greatest altitude (12,500); above that oxygen is taken to be on board |
//!
//! What a trip file says itself cannot be said of it here again, but for its name. What it says of weather and prices is not used.

use std::ops::Range as Span;
use std::path::{Path, PathBuf};

use jiff::Timestamp;

use super::csv_text::{Table, cell_finding, number};
use super::diagnostic::{FileError, Finding, FindingKind, read_text};
use super::trip::{TripFile, parse_trip_without_weather};
use super::trip_text::{Draft, DraftPlace, MAX_ALTITUDE_FT, PERSON_LB, STANDARD_INHG};
use crate::trip::Start;

const COLUMNS: [&str; 11] = [
    "times",
    "trip",
    "from",
    "via",
    "to",
    "name",
    "fuel_gal",
    "people_lb",
    "baggage_lb",
    "minimum_altitude_ft",
    "max_altitude_ft",
];
const HINT: &str = "the first line names the columns, like times,trip or times,from,to";
/// Day on which rows without a trip file are flown, when nobody says: 2026-07-01, 12 UTC. It matters to the magnetic variation alone.
pub const DAY: Timestamp = Timestamp::constant(1_782_907_200, 0);

/// What rows without a trip file are made with.
#[derive(Debug, Clone, PartialEq)]
pub struct RowsWith {
    /// The aircraft of every row, instead of that of its trip file; rows without one need it.
    pub profile: Option<PathBuf>,
    /// The aircraft of rows without a trip file where none is given above, for those who do not fly them.
    pub stand_in: Option<PathBuf>,
    /// Files of places of one's own.
    pub places: Vec<PathBuf>,
    /// Folder of terrain tiles.
    pub terrain: Option<PathBuf>,
    /// The word of the rules for cruise altitudes, as in a trip file.
    pub rules: &'static str,
    /// The day flown, for the magnetic variation.
    pub day: Timestamp,
}

/// One trip of a season.
#[derive(Debug, Clone)]
pub struct SeasonRow {
    /// What it is called.
    pub name: String,
    /// How often a year.
    pub times: f64,
    /// The trip, without weather, and its aircraft.
    pub file: TripFile,
}

/// Whether a text is meant to be the log of a season, by its first line.
pub fn looks_like_season(text: &str) -> bool {
    let head = text
        .lines()
        .find(|l| !l.trim().is_empty() && !l.starts_with('#'));
    head.is_some_and(|head| {
        let columns: Vec<&str> = head.split(',').map(str::trim).collect();
        columns.contains(&"times") && ["trip", "from", "to"].iter().any(|c| columns.contains(c))
    })
}

/// Reads the log of a season, and the trips it names.
///
/// # Errors
/// [`FileError`] with everything that is wrong with the log, or with the first trip file that is wrong.
pub fn load_season(path: &Path, with: &RowsWith) -> Result<Vec<SeasonRow>, FileError> {
    let text = read_text(path)?;
    parse_season(&text, path, with)
}

type Cell = (String, Span<usize>);

/// The same from its text; `path` says where the paths in it start from.
///
/// # Errors
/// As [`load_season`].
pub fn parse_season(text: &str, path: &Path, with: &RowsWith) -> Result<Vec<SeasonRow>, FileError> {
    let text = super::diagnostic::without_mark(text);
    let mut findings: Vec<Finding> = Vec::new();
    let mut rows = Vec::new();
    let Some(table) = Table::new(text, &COLUMNS, HINT, &mut findings) else {
        return Err(FileError::new(path, text, findings));
    };
    if table.column("times").is_none() {
        table.misses("times", HINT, &mut findings);
    }
    for line in &table.lines {
        let Some(cells) = table.row(line, &mut findings) else {
            continue;
        };
        let row = Row {
            line: line.clone(),
            cells: &cells,
            table: &table,
        };
        rows.extend(row.read(path, with, &mut findings)?);
    }
    if findings.is_empty() && rows.is_empty() {
        let message = "there is no trip in it".to_owned();
        let kind = FindingKind::Missing;
        findings.push(cell_finding(
            kind,
            "",
            table.head.clone(),
            message,
            "give a line for each trip",
        ));
    }
    if findings.is_empty() {
        Ok(rows)
    } else {
        Err(FileError::new(path, text, findings))
    }
}

struct Row<'a> {
    line: Span<usize>,
    cells: &'a [Cell],
    table: &'a Table<'a>,
}

impl Row<'_> {
    /// A cell that is not empty.
    fn cell(&self, name: &str) -> Option<&Cell> {
        let cell = self.cells.get(self.table.column(name)?)?;
        (!cell.0.is_empty()).then_some(cell)
    }

    fn text(&self, name: &str) -> Option<String> {
        self.cell(name).map(|c| c.0.clone())
    }

    fn number(&self, name: &str, range: &str, findings: &mut Vec<Finding>) -> Option<f64> {
        number(name, range, self.cell(name)?, "give a number", findings)
    }

    fn misses(&self, key: &str, message: String, hint: &str) -> Finding {
        cell_finding(FindingKind::Missing, key, self.line.clone(), message, hint)
    }

    /// The row; `None` where something in it is wrong, which is noted.
    fn read(
        &self,
        path: &Path,
        with: &RowsWith,
        findings: &mut Vec<Finding>,
    ) -> Result<Option<SeasonRow>, FileError> {
        let before = findings.len();
        if self.table.column("times").is_some() && self.cell("times").is_none() {
            let message = "times is missing".to_owned();
            findings.push(self.misses("times", message, "say how often a year it is flown"));
        }
        let times = self.number("times", "flights a year", findings);
        let file = match self.cell("trip") {
            Some(trip) => self.of_file(trip, path, with, findings)?,
            None => self.of_places(with, findings)?,
        };
        let (Some(times), Some(file)) = (times, file) else {
            return Ok(None);
        };
        if let Start::InFlight { .. } = file.trip.start {
            let message = "the trip begins in flight".to_owned();
            let hint = "a season is of whole flights: take the [start] out of the trip file";
            let kind = FindingKind::Contradiction;
            findings.push(cell_finding(kind, "trip", self.line.clone(), message, hint));
        }
        let name = self.text("name").unwrap_or_else(|| file.trip.title.clone());
        Ok((findings.len() == before).then_some(SeasonRow { name, times, file }))
    }

    fn of_file(
        &self,
        trip: &Cell,
        path: &Path,
        with: &RowsWith,
        findings: &mut Vec<Finding>,
    ) -> Result<Option<TripFile>, FileError> {
        let others = COLUMNS
            .iter()
            .filter(|c| !["times", "trip", "name"].contains(c));
        for other in others.filter_map(|c| self.cell(c).map(|cell| (c, cell))) {
            let message = format!(
                "{} is given beside a trip file, which says it itself",
                other.0
            );
            let kind = FindingKind::Contradiction;
            let hint = "leave one of the two empty";
            findings.push(cell_finding(
                kind,
                other.0,
                other.1.1.clone(),
                message,
                hint,
            ));
        }
        let from = path.parent().unwrap_or(Path::new("")).join(&trip.0);
        match read_text(&from) {
            Ok(text) => parse_trip_without_weather(&text, &from, with.profile.as_deref()).map(Some),
            Err(e) if e.is_unreadable() => {
                let why = e
                    .findings
                    .first()
                    .map_or(String::new(), |f| f.message.clone());
                let kind = FindingKind::Unreadable;
                let hint = "a path starts from the folder of the log";
                findings.push(cell_finding(kind, "trip", trip.1.clone(), why, hint));
                Ok(None)
            }
            Err(e) => Err(e),
        }
    }

    fn of_places(
        &self,
        with: &RowsWith,
        findings: &mut Vec<Finding>,
    ) -> Result<Option<TripFile>, FileError> {
        let before = findings.len();
        let mut place = |name: &str| {
            let ident = self.text(name);
            if ident.is_none() {
                let message = format!("{name} is missing, and no trip file is named");
                findings.push(self.misses(name, message, "give both ends, or a trip file"));
            }
            ident.unwrap_or_default()
        };
        let (from, to) = (place("from"), place("to"));
        let via = self.text("via").unwrap_or_default();
        let route: Vec<DraftPlace> = std::iter::once(from.as_str())
            .chain(via.split_whitespace())
            .chain([to.as_str()])
            .map(|ident| DraftPlace {
                ident: ident.to_owned(),
                elevation_ft: None,
            })
            .collect();
        let fuel_gal = match self.cell("fuel_gal") {
            Some((word, _)) if word == "least" => None,
            Some(_) => self.number("fuel_gal", "fuel", findings),
            None => None,
        };
        let people = self.number("people_lb", "mass", findings);
        let baggage = self.number("baggage_lb", "mass", findings);
        let minimum = self.number("minimum_altitude_ft", "altitude", findings);
        let most = self.number("max_altitude_ft", "altitude", findings);
        let Some(profile) = with.profile.as_ref().or(with.stand_in.as_ref()) else {
            let message = "no aircraft: the row names no trip file".to_owned();
            findings.push(self.misses(
                "trip",
                message,
                "give --profile, or a trip file, which names one",
            ));
            return Ok(None);
        };
        if findings.len() > before {
            return Ok(None);
        }
        let shown = |p: &PathBuf| p.display().to_string();
        let legs = route.len() - 1;
        let draft = Draft {
            profile: shown(profile),
            depart: with.day,
            night: false,
            variation_deg: None,
            places: with.places.iter().map(shown).collect(),
            route,
            gpx: None,
            alternate: None,
            ends_ft: [None; 2],
            minimum_ft: minimum.map_or(vec![], |ft| vec![ft; legs]),
            mountainous_legs: 0,
            start: None,
            people_lb: people.unwrap_or(PERSON_LB),
            baggage_lb: baggage.unwrap_or(0.0),
            fuel_gal,
            prices: None,
            winds: vec![],
            grib: vec![],
            metar: vec![],
            altimeter_inhg: Some([STANDARD_INHG; 2]),
            terrain: with.terrain.as_ref().map(shown),
            corridor_nm: None,
            keep_outs: vec![],
            objective: "time",
            rules: with.rules,
            max_altitude_ft: most.unwrap_or(MAX_ALTITUDE_FT.0),
            oxygen: most.is_some_and(|ft| ft > MAX_ALTITUDE_FT.0),
            reserve_min: None,
            pattern_altitude_ft: None,
        };
        // Paths of options start from the folder the command is given in.
        let row = Path::new(ROW);
        match parse_trip_without_weather(&draft.text(), row, Some(profile)) {
            Ok(mut file) => {
                let via = if via.is_empty() {
                    String::new()
                } else {
                    format!(" via {via}")
                };
                file.trip.title = format!("{from} to {to}{via}");
                Ok(Some(file))
            }
            Err(e) if e.path == row => {
                for f in &e.findings {
                    let message = in_columns(&f.message, legs);
                    let hint = f.hint.as_deref().unwrap_or("correct the row");
                    let hint = in_columns(hint, legs);
                    findings.push(cell_finding(
                        f.kind.clone(),
                        &f.key,
                        self.line.clone(),
                        message,
                        &hint,
                    ));
                }
                Ok(None)
            }
            // A file that an option names.
            Err(e) => Err(e),
        }
    }
}

/// What stands for the path of a trip that a row describes.
const ROW: &str = "row of the season";

/// Keys of a trip file as the columns they come from.
fn in_columns(message: &str, legs: usize) -> String {
    let last = format!("place[{}]", legs + 1);
    let mut out = message
        .replace("place[1].ident", "from")
        .replace("place[1]", "from");
    out = out
        .replace(&format!("{last}.ident"), "to")
        .replace(&last, "to");
    for i in 2..=legs {
        let via = format!("place[{i}]");
        out = out
            .replace(&format!("{via}.ident"), "via")
            .replace(&via, "via");
    }
    for (key, column) in [
        ("load.people_lb", "people_lb"),
        ("load.baggage_lb", "baggage_lb"),
        ("fuel.on_board_gal", "fuel_gal"),
        ("limits.max_altitude_ft", "max_altitude_ft"),
    ] {
        out = out.replace(key, column);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(profile: Option<&str>) -> RowsWith {
        RowsWith {
            profile: profile.map(PathBuf::from),
            stand_in: None,
            places: vec![],
            terrain: None,
            rules: "us-vfr",
            day: DAY,
        }
    }

    fn told(text: &str, with: &RowsWith) -> String {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/season.csv");
        let e = parse_season(text, &path, with).expect_err("not in order");
        e.render(false)
    }

    #[test]
    fn closed_form_what_is_wrong_with_a_log_is_told_in_its_columns() {
        let own = with(Some("retractable-200hp"));
        for (text, with, words) in [
            ("", &own, "no line"),
            ("times,from,to\n", &own, "no trip"),
            ("from,to\nKBNO,KPIH\n", &own, "no column times"),
            ("times,from,to\n,KBNO,KPIH\n", &own, "times is missing"),
            ("times,from,to\nmany,KBNO,KPIH\n", &own, "not a number"),
            ("times,from,to\n-1,KBNO,KPIH\n", &own, "required range"),
            ("times,from,to\n4,KBNO,\n", &own, "to is missing"),
            ("times,from,to\n4,KBNO,KPIH\n", &with(None), "--profile"),
            ("times,from,to\n4,KBNO,NOWHERE\n", &own, "NOWHERE"),
            (
                "times,from,to,fuel_gal\n4,KBNO,KPIH,much\n",
                &own,
                "not a number",
            ),
            ("times,trip\n4,none.toml\n", &own, "none.toml"),
            (
                "times,trip,to\n4,first-trip.toml,KPIH\n",
                &own,
                "beside a trip file",
            ),
            (
                "times,tripp\n4,first-trip.toml\n",
                &own,
                "did you mean `trip`",
            ),
        ] {
            let told = told(text, with);
            assert!(told.contains(words), "{text}: {told}");
            assert!(!told.contains("place["), "{told}");
        }
    }

    #[test]
    fn closed_form_a_damaged_log_never_panics() {
        let text = "# é\ntimes,from,via,to,name,fuel_gal,people_lb\n3,KBNO,\"KU76\",KPIH,a \"b\",least,1e9\n,,,,,,\n";
        let path = Path::new("log.csv");
        let mut refused = 0;
        for (at, _) in text.char_indices() {
            for put in ["", "\"", ",", "\n", "\0", "-"] {
                let damaged = format!("{}{put}{}", &text[..at], &text[at..]);
                refused += usize::from(parse_season(&damaged, path, &with(None)).is_err());
            }
            refused += usize::from(parse_season(&text[..at], path, &with(None)).is_err());
        }
        assert!(refused > 500, "{refused}");
    }

    #[test]
    fn closed_form_rows_of_both_kinds() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/season.csv");
        let text = "# mine\ntimes,trip,from,via,to,name,fuel_gal\n12,first-trip.toml,,,,,\n3,,KBNO,KU76,KPIH,visit,\n0.5,,KPIH,,KBNO,,40\n";
        let rows = parse_season(text, &path, &with(Some("retractable-200hp"))).expect("in order");
        let names: Vec<&str> = rows.iter().map(|r| r.name.as_str()).collect();
        assert_eq!(names, ["Burns to Pocatello", "visit", "KPIH to KBNO"]);
        assert_eq!(rows[1].file.trip.places.len(), 3);
        assert_eq!(rows[2].times, 0.5);
        for row in &rows {
            assert!(row.file.trip.weather.forecasts.is_empty());
            assert!(row.file.trip.airspace.clouds.is_empty());
        }
    }
}
