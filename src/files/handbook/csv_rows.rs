//! Rows of a handbook in a CSV file: each becomes a TOML row and is read by the same code; findings go back to their cells.

use std::fmt::Write as _;
use std::ops::Range as Span;
use std::path::Path;

use super::super::csv_text::{Table, cell_finding};
use super::super::diagnostic::{FileError, FindingKind};
use super::super::sheet::Sheet;
use super::rows::{COLUMNS, KINDS, RowReader};
use crate::fit::Row;

/// Reads the rows of a CSV text.
pub(super) fn parse(text: &str, path: &Path, reader: &RowReader) -> Result<Vec<Row>, FileError> {
    let mut findings = Vec::new();
    let head_hint = format!("the columns are {}", COLUMNS.join(", "));
    let Some(table) = Table::new(text, &COLUMNS, &head_hint, &mut findings) else {
        return Err(FileError::new(path, text, findings));
    };
    let Some(kind_at) = table.column("kind") else {
        let hint = format!("it holds one of {}", KINDS.join(", "));
        table.misses("kind", &hint, &mut findings);
        return Err(FileError::new(path, text, findings));
    };

    // rows of one kind must follow one another in TOML, so each kind is gathered
    let mut toml = String::new();
    let mut places: Vec<(Span<usize>, Span<usize>)> = Vec::new();
    let mut lines = Vec::new();
    for line in &table.lines {
        let Some(row) = table.row(line, &mut findings) else {
            continue;
        };
        if !KINDS.contains(&row[kind_at].0.as_str()) {
            let message = format!("kind is \"{}\"", row[kind_at].0.escape_debug());
            let hint = format!("write one of {}", KINDS.join(", "));
            let (kind, span) = (FindingKind::Contradiction, row[kind_at].1.clone());
            findings.push(cell_finding(kind, "kind", span, message, &hint));
        }
        lines.push((row, line.clone()));
    }
    if !findings.is_empty() {
        return Err(FileError::new(path, text, findings));
    }
    for kind in KINDS {
        for (row, line) in lines.iter().filter(|(row, _)| row[kind_at].0 == kind) {
            let begin = toml.len();
            // writing to a String cannot fail
            let _ = writeln!(toml, "[[{kind}]]");
            for (i, ((cell, span), (name, _))) in row.iter().zip(&table.columns).enumerate() {
                if i == kind_at || cell.is_empty() {
                    continue;
                }
                let start = toml.len();
                let value = match cell.parse::<f64>() {
                    Ok(x) if x.is_finite() => toml::Value::Float(x).to_string(),
                    _ if cell == "true" || cell == "false" => cell.clone(),
                    _ => toml::Value::String(cell.clone()).to_string(),
                };
                let _ = writeln!(toml, "{name} = {value}");
                places.push((start..toml.len(), span.clone()));
            }
            places.push((begin..toml.len(), line.clone()));
        }
    }
    let sheet = Sheet::new(path, &toml);
    let table = sheet.parse()?;
    let root = sheet.root(&table);
    let mut rows = reader.read(&sheet, &root);
    root.finish();
    sheet.verdict().map_err(|error| {
        // cells stand before their rows in the list, so the first place that holds a span is the closest
        let place = |span: &Span<usize>| {
            let found = places.iter().find(|(from, _)| from.contains(&span.start));
            found.map(|(_, to)| to.clone())
        };
        let findings = error.findings.into_iter().map(|mut finding| {
            finding.span = finding.span.as_ref().and_then(place);
            finding.related.retain_mut(|(span, _)| match place(span) {
                Some(there) => {
                    *span = there;
                    true
                }
                None => false,
            });
            finding
        });
        FileError::new(path, text, findings.collect())
    })?;
    for row in &mut rows {
        row.label.push_str(" (csv)");
    }
    Ok(rows)
}
