//! Rows of a handbook in a CSV file: each becomes a TOML row and is read by the same code; findings go back to their cells.

use std::fmt::Write as _;
use std::ops::Range as Span;
use std::path::Path;

use super::super::csv_text::{cells, lines};
use super::super::diagnostic::{FileError, Finding, FindingKind, did_you_mean};
use super::super::sheet::Sheet;
use super::rows::{COLUMNS, KINDS, RowReader};
use crate::fit::Row;

/// Reads the rows of a CSV text.
pub(super) fn parse(text: &str, path: &Path, reader: &RowReader) -> Result<Vec<Row>, FileError> {
    let mut lines = lines(text)
        .into_iter()
        .filter(|l| !text[l.clone()].trim().is_empty() && !text[l.clone()].starts_with('#'));
    let wrong = |kind, span: Span<usize>, message: String, hint: String| {
        Finding::new(kind, "", Some(span), message)
            .label("here")
            .hint(hint)
    };
    let Some(head) = lines.next() else {
        let hint = "the first line names the columns, such as kind,altitude_ft,rpm,map_inhg,tas_kt";
        let finding = wrong(
            FindingKind::Missing,
            0..0,
            "there is no line".into(),
            hint.into(),
        );
        return Err(FileError::new(path, text, vec![finding]));
    };
    let columns = cells(text, head.clone());
    let mut findings = Vec::new();
    for (i, (name, span)) in columns.iter().enumerate() {
        if !COLUMNS.contains(&name.as_str()) {
            let hint = match did_you_mean(name, COLUMNS) {
                Some(word) => format!("did you mean `{word}`?"),
                None => format!("the columns are {}", COLUMNS.join(", ")),
            };
            let message = format!("there is no column {}", name.escape_debug());
            findings.push(wrong(FindingKind::UnknownKey, span.clone(), message, hint));
        } else if columns[..i].iter().any(|(other, _)| other == name) {
            let message = format!("the column {name} stands twice");
            findings.push(wrong(
                FindingKind::Syntax,
                span.clone(),
                message,
                "take one out".into(),
            ));
        }
    }
    let Some(kind_at) = columns.iter().position(|(name, _)| name == "kind") else {
        let hint = format!("it holds one of {}", KINDS.join(", "));
        findings.push(wrong(
            FindingKind::Missing,
            head,
            "there is no column kind".into(),
            hint,
        ));
        return Err(FileError::new(path, text, findings));
    };

    // rows of one kind must follow one another in TOML, so each kind is gathered
    let mut toml = String::new();
    let mut places: Vec<(Span<usize>, Span<usize>)> = Vec::new();
    let lines: Vec<_> = lines.map(|l| (cells(text, l.clone()), l)).collect();
    for (row, line) in &lines {
        if row.len() != columns.len() {
            let message = format!("{} cells, but {} columns", row.len(), columns.len());
            let hint = "an empty cell needs its comma too";
            findings.push(wrong(
                FindingKind::Syntax,
                line.clone(),
                message,
                hint.into(),
            ));
        } else if !KINDS.contains(&row[kind_at].0.as_str()) {
            let message = format!("kind is \"{}\"", row[kind_at].0.escape_debug());
            let hint = format!("write one of {}", KINDS.join(", "));
            let span = row[kind_at].1.clone();
            findings.push(wrong(FindingKind::Contradiction, span, message, hint));
        }
    }
    if !findings.is_empty() {
        return Err(FileError::new(path, text, findings));
    }
    for kind in KINDS {
        for (row, line) in lines.iter().filter(|(row, _)| row[kind_at].0 == kind) {
            let begin = toml.len();
            // writing to a String cannot fail
            let _ = writeln!(toml, "[[{kind}]]");
            for (i, ((cell, span), (name, _))) in row.iter().zip(&columns).enumerate() {
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
