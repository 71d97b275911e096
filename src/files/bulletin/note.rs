//! Remarks on a bulletin.

use std::fmt;

/// A remark on a bulletin or on a wind field made from bulletins.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// A row has nothing at levels above one it does give: the line may have been cut short.
    CutShort {
        /// Line, from 1.
        line: usize,
        /// Station.
        station: String,
        /// Lowest level without a forecast above one with (ft).
        level_ft: u32,
    },
    /// A station has two rows; the first is used.
    Repeated {
        /// Line of the second row, from 1.
        line: usize,
        /// Station.
        station: String,
        /// Whether both rows say the same.
        same: bool,
    },
    /// A row without any forecast.
    EmptyRow {
        /// Line, from 1.
        line: usize,
        /// Station.
        station: String,
    },
    /// A wind of 199 knots or more, of which only 199 is known.
    Capped {
        /// Line, from 1.
        line: usize,
        /// Station.
        station: String,
        /// Level (ft).
        level_ft: u32,
    },
    /// The heading has no period of use; three hours around the valid time are assumed.
    NoPeriodOfUse {
        /// Line of the table's heading, from 1.
        line: usize,
    },
    /// A station's position is not known, so that its column is not used.
    UnknownStation {
        /// Station.
        station: String,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Note::CutShort {
                line,
                station,
                level_ft,
            } => write!(
                f,
                "line {line}: {station} has nothing at {level_ft} ft above levels it does give; the line may be cut short"
            ),
            Note::Repeated {
                line,
                station,
                same: true,
            } => {
                write!(f, "line {line}: {station} is repeated with the same values")
            }
            Note::Repeated {
                line,
                station,
                same: false,
            } => write!(
                f,
                "line {line}: {station} is repeated with other values; its first row is used"
            ),
            Note::EmptyRow { line, station } => {
                write!(f, "line {line}: {station} has no forecast at any level")
            }
            Note::Capped {
                line,
                station,
                level_ft,
            } => write!(
                f,
                "line {line}: {station} at {level_ft} ft is coded 199 kt, which means 199 kt or more"
            ),
            Note::NoPeriodOfUse { line } => write!(
                f,
                "line {line}: the heading has no FOR USE period; three hours around the valid time are assumed"
            ),
            Note::UnknownStation { station } => {
                write!(
                    f,
                    "the position of {station} is not known, so it is not used; give it to use it"
                )
            }
        }
    }
}

/// So many stations are named where many cannot be used.
const NAMED: usize = 4;

/// Remarks as text, those on stations without a position in one.
pub fn in_short(notes: &[Note]) -> Vec<String> {
    let mut unknown: Vec<&str> = Vec::new();
    let mut out: Vec<String> = Vec::new();
    for note in notes {
        match note {
            Note::UnknownStation { station } => unknown.push(station),
            other => out.push(other.to_string()),
        }
    }
    let (some, others) = unknown.split_at(unknown.len().min(NAMED));
    if !unknown.is_empty() {
        let others = match others.len() {
            0 => String::new(),
            count => format!(" and {count} more"),
        };
        out.push(format!(
            "not used, their positions being unknown: {}{others}",
            some.join(", ")
        ));
    }
    out
}
