//! The results file of a season: each trip in each wind is written as it is flown, so that a season that was stopped goes on where it was.
//!
//! The first line says what the results are of, with a sum over all inputs that they hang on; the second names the columns; then one line
//! for each trip in a wind, in the order they were flown in. Numbers are written so that they read back bit for bit. A line counts when it ends;
//! what a stop has left of the last one is taken away.

use super::Failure;
use super::season::one_line;
use crate::brief::policy_word;
use crate::solve::{FlightOf, POLICIES, SeasonFlights};
use std::collections::BTreeMap;
use std::fmt::{self, Write as _};
use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// How the first line begins.
const MAGIC: &str = "# fellrun season results, ";
/// Figures of a flight in a row.
const FIGURES: [&str; 5] = [
    "time_s",
    "block_time_s",
    "block_fuel_kg",
    "revolutions",
    "levels_m",
];

/// A trip in a wind: its flights, or why there are none.
pub(super) type Outcome = Result<SeasonFlights, String>;
/// What is known already, by trip and wind.
pub(super) type Known = BTreeMap<(usize, usize), Outcome>;

/// A sum over what is written to it: FNV-1a of 64 bits (draft-eastlake-fnv, from memory). It tells inputs apart, and guards against nobody.
pub(super) struct Sum(u64);

impl Sum {
    pub(super) fn new() -> Self {
        Self(0xcbf2_9ce4_8422_2325)
    }

    pub(super) fn value(&self) -> u64 {
        self.0
    }
}

impl fmt::Write for Sum {
    fn write_str(&mut self, s: &str) -> fmt::Result {
        for byte in s.bytes() {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
        Ok(())
    }
}

fn head(inputs: &str) -> String {
    let mut columns = vec!["trip".to_owned(), "wind".to_owned(), "not_flown".to_owned()];
    for policy in POLICIES {
        columns.extend(FIGURES.map(|f| format!("{}_{f}", policy_word(policy))));
    }
    format!("{MAGIC}{inputs}\n{}\n", columns.join(","))
}

fn row(trip: usize, wind: usize, outcome: &Outcome) -> Result<Vec<u8>, csv::Error> {
    let mut cells = vec![(trip + 1).to_string(), (wind + 1).to_string()];
    match outcome {
        Err(why) => {
            cells.push(one_line(why));
            cells.resize(3 + POLICIES.len() * FIGURES.len(), String::new());
        }
        Ok(flights) => {
            cells.push(String::new());
            for f in flights {
                let numbers = [f.time_s, f.block_time_s, f.block_fuel_kg, f.revolutions];
                cells.extend(numbers.map(|x| x.to_string()));
                let levels: Vec<String> = f.levels_m.iter().map(f64::to_string).collect();
                cells.push(levels.join(";"));
            }
        }
    }
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(&cells)?;
    out.into_inner().map_err(|e| e.into_error().into())
}

/// A row of this season of so many trips and winds; `None` of what is none.
fn parsed(line: &str, (trips, winds): (usize, usize)) -> Option<((usize, usize), Outcome)> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(line.as_bytes());
    let record = reader.records().next()?.ok()?;
    let index = |i: usize, below: usize| {
        let n: usize = record.get(i)?.parse().ok()?;
        n.checked_sub(1).filter(|&n| n < below)
    };
    let at = (index(0, trips)?, index(1, winds)?);
    if record.len() != 3 + POLICIES.len() * FIGURES.len() {
        return None;
    }
    let why = record.get(2)?;
    if !why.is_empty() {
        return Some((at, Err(why.to_owned())));
    }
    let number = |cell: &str| cell.parse::<f64>().ok().filter(|x| x.is_finite());
    let flight = |k: usize| -> Option<FlightOf> {
        let cell = |i: usize| record.get(3 + k * FIGURES.len() + i);
        let levels = cell(4)?.split(';').filter(|l| !l.is_empty());
        Some(FlightOf {
            time_s: number(cell(0)?)?,
            block_time_s: number(cell(1)?)?,
            block_fuel_kg: number(cell(2)?)?,
            revolutions: number(cell(3)?)?,
            levels_m: levels.map(number).collect::<Option<_>>()?,
        })
    };
    let [usual, time, fuel, money] = [0, 1, 2, 3].map(flight);
    Some((at, Ok([usual?, time?, fuel?, money?])))
}

/// A results file that is being written.
pub(super) struct Results {
    file: File,
    path: PathBuf,
}

fn cannot(path: &Path, why: impl fmt::Display) -> Failure {
    Failure::input(format!("cannot write {}: {why}", path.display()))
}

impl Results {
    /// Opens a results file, with what it knows of a season of so many trips and winds; begins it if there is none. `inputs` says what the season
    /// is of.
    ///
    /// # Errors
    /// A file that cannot be written, is of other inputs, or is something else.
    pub(super) fn open(
        path: &Path,
        inputs: &str,
        size: (usize, usize),
    ) -> Result<(Self, Known), Failure> {
        let head = head(inputs);
        let mut text = String::new();
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(path)
            .map_err(|e| cannot(path, e))?;
        let another = "give --results another path, or take that file away to begin anew";
        match file.read_to_string(&mut text) {
            Err(e) if e.kind() == ErrorKind::InvalidData => {
                return Err(Failure::input(format!(
                    "{} is no results file of a season: it is no text",
                    path.display()
                ))
                .hint(another));
            }
            read => read.map_err(|e| cannot(path, e))?,
        };
        let mut known = Known::new();
        // A stop while the head was written leaves the beginning of it.
        let kept = if head.starts_with(&text) && text.len() < head.len() {
            0
        } else if let Some(rows) = text.strip_prefix(head.as_str()) {
            head.len() + read_rows(rows, size, &mut known, path)?
        } else {
            let shown = path.display();
            let first = text.lines().next().unwrap_or_default();
            return Err(match first.strip_prefix(MAGIC) {
                Some(other) => Failure::input(format!(
                    "{shown} has the results of other inputs: it is of {other}, and this season is {inputs}"
                ))
                .hint(another),
                None => Failure::input(format!("{shown} is no results file of a season"))
                    .hint(another),
            });
        };
        let mut begin = || -> std::io::Result<()> {
            file.set_len(kept as u64)?;
            file.seek(SeekFrom::End(0))?;
            if kept == 0 {
                file.write_all(head.as_bytes())?;
            }
            file.flush()
        };
        begin().map_err(|e| cannot(path, e))?;
        let path = path.to_owned();
        Ok((Self { file, path }, known))
    }

    /// Adds a trip in a wind, in one piece.
    ///
    /// # Errors
    /// A file that cannot be written any more.
    pub(super) fn add(
        &mut self,
        trip: usize,
        wind: usize,
        outcome: &Outcome,
    ) -> Result<(), Failure> {
        let row = row(trip, wind, outcome).map_err(Failure::bug)?;
        self.file
            .write_all(&row)
            .and_then(|()| self.file.flush())
            .map_err(|e| cannot(&self.path, e))
    }
}

/// Reads rows; how many bytes of them are whole.
fn read_rows(
    rows: &str,
    size: (usize, usize),
    known: &mut Known,
    path: &Path,
) -> Result<usize, Failure> {
    let whole = rows.rfind('\n').map_or(0, |end| end + 1);
    let mut kept = 0;
    for (i, line) in rows[..whole].split_inclusive('\n').enumerate() {
        match parsed(line, size) {
            Some((at, outcome)) => {
                known.insert(at, outcome);
                kept += line.len();
            }
            // Damaged at its end: flown again.
            None if kept + line.len() == whole => break,
            None => {
                let mut message = String::new();
                // Two lines of head, and lines count from one.
                let _ = write!(message, "{}: line {} is damaged", path.display(), i + 3);
                return Err(Failure::input(message)
                    .hint("take the line out, and that trip is flown again; or take the file away to begin anew"));
            }
        }
    }
    Ok(kept)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flights(x: f64) -> SeasonFlights {
        let of = |k: f64| FlightOf {
            time_s: x + k / 3.0,
            block_time_s: x + 480.1,
            block_fuel_kg: 0.1 + 0.2 * x,
            revolutions: x * 1e5 / 7.0,
            levels_m: vec![1_981.2, 2_590.8 + k],
        };
        [of(1.0), of(2.0), of(3.0), of(4.0)]
    }

    /// A file with three rows, and its text.
    fn three() -> (tempfile::TempDir, PathBuf, Known) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("results.csv");
        let (mut results, known) = Results::open(&path, "these", (2, 2)).expect("begins");
        assert!(known.is_empty());
        let all: Known = [
            ((0, 1), Ok(flights(0.1))),
            ((1, 0), Err("over \"the\" top,\nfar over".to_owned())),
            ((0, 0), Ok(flights(1_234.567))),
        ]
        .into();
        for (at, outcome) in &all {
            results.add(at.0, at.1, outcome).expect("adds");
        }
        (folder, path, all)
    }

    #[test]
    fn closed_form_results_read_back_bit_for_bit() {
        let (_folder, path, mut all) = three();
        let (_, known) = Results::open(&path, "these", (2, 2)).expect("reads");
        all.insert((1, 0), Err("over \"the\" top, far over".to_owned()));
        assert_eq!(known, all);
    }

    #[test]
    fn closed_form_cut_anywhere_whole_rows_stay() {
        let (_folder, path, _) = three();
        let whole = std::fs::read(&path).expect("reads");
        for cut in 0..=whole.len() {
            std::fs::write(&path, &whole[..cut]).expect("writes");
            let (mut results, known) = Results::open(&path, "these", (2, 2)).expect("opens");
            let lines = whole[..cut].iter().filter(|&&b| b == b'\n').count();
            assert_eq!(known.len(), lines.saturating_sub(2), "{cut}");
            results.add(1, 1, &Ok(flights(2.0))).expect("adds");
            let (_, again) = Results::open(&path, "these", (2, 2)).expect("opens");
            assert_eq!(again.len(), known.len() + 1, "{cut}");
        }
    }

    #[test]
    fn closed_form_results_of_something_else_are_refused_and_stay() {
        let (_folder, path, _) = three();
        let whole = std::fs::read_to_string(&path).expect("reads");
        let damaged = whole.replacen("1,1,,", "1,9,,", 1);
        assert_ne!(damaged, whole);
        for (text, inputs, words) in [
            (whole.as_str(), "those", "other inputs"),
            ("times,from,to\n3,KBNO,KPIH\n", "these", "no results file"),
            (damaged.as_str(), "these", "line 3 is damaged"),
        ] {
            std::fs::write(&path, text).expect("writes");
            let e = Results::open(&path, inputs, (2, 2)).err().expect("refused");
            assert!(e.message.contains(words), "{}", e.message);
            assert!(e.hint.is_some() && e.status() == 1);
            assert_eq!(std::fs::read_to_string(&path).expect("reads"), text);
        }
        // Damaged at the end it is flown again.
        let last = format!("{whole}1,1,,1,2\n");
        std::fs::write(&path, last).expect("writes");
        let (_, known) = Results::open(&path, "these", (2, 2)).expect("opens");
        assert_eq!(known.len(), 3);
        assert_eq!(std::fs::read_to_string(&path).expect("reads"), whole);
    }

    #[test]
    fn published_sums_of_fnv_1a() {
        // draft-eastlake-fnv, appendix: the 64-bit FNV-1a of "", "a" and "foobar" (from memory).
        for (text, sum) in [
            ("", 0xcbf2_9ce4_8422_2325_u64),
            ("a", 0xaf63_dc4c_8601_ec8c),
            ("foobar", 0x8594_4171_f739_67e8),
        ] {
            let mut of = Sum::new();
            of.write_str(text).expect("cannot fail");
            assert_eq!(of.value(), sum, "{text}");
        }
    }
}
