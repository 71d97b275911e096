//! A line of the text, and the error that names a place in it.

/// Longest excerpt of offending text quoted in an error, in characters.
const QUOTE_LENGTH: usize = 40;

/// Why a bulletin could not be decoded: where, what stands there, what was expected, and the way out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("reading the winds-aloft bulletin, line {line}, column {column}{}: found '{found}', expected {expected}; {way_out}", station.as_ref().map(|s| format!(", station {s}")).unwrap_or_default())]
pub struct BulletinError {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// The station of the row, when one is known.
    pub station: Option<String>,
    /// The offending text.
    pub found: String,
    /// What was expected there.
    pub expected: String,
    /// What the user can do.
    pub way_out: &'static str,
}

fn quote(text: &str) -> String {
    let trimmed = text.trim();
    let mut quoted: String = trimmed.chars().take(QUOTE_LENGTH).collect();
    if trimmed.chars().count() > QUOTE_LENGTH {
        quoted.push_str("...");
    }
    quoted
}

/// A line of the text, upper case, without line end, outer control characters and trailing blanks.
pub(super) struct Line {
    pub(super) number: usize,
    pub(super) chars: Vec<char>,
}

impl Line {
    pub(super) fn text(&self) -> String {
        self.chars.iter().collect()
    }

    pub(super) fn indent(&self) -> usize {
        self.chars.iter().take_while(|c| **c == ' ').count()
    }

    pub(super) fn is_blank(&self) -> bool {
        self.indent() == self.chars.len()
    }

    pub(super) fn error(
        &self,
        column: usize,
        found: &str,
        expected: &str,
        way_out: &'static str,
    ) -> BulletinError {
        BulletinError {
            line: self.number,
            column: column + 1,
            station: None,
            found: quote(found),
            expected: expected.to_owned(),
            way_out,
        }
    }
}

pub(super) fn lines(text: &str) -> Vec<Line> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    text.split('\n')
        .enumerate()
        .map(|(i, raw)| {
            let raw = raw.trim_end_matches(|c: char| c.is_whitespace() || c.is_control());
            let raw = raw.trim_start_matches(|c: char| c.is_control() && c != '\t');
            Line {
                number: i + 1,
                chars: raw.chars().map(|c| c.to_ascii_uppercase()).collect(),
            }
        })
        .collect()
}
