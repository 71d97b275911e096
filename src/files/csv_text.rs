//! Lines and cells of a CSV text with their places, so that an error can point at a cell. (The `csv` crate gives lines alone.)

use std::ops::Range as Span;

/// Byte spans of the lines.
pub(super) fn lines(text: &str) -> Vec<Span<usize>> {
    let mut begin = 0;
    let mut all = Vec::new();
    for line in text.split('\n') {
        all.push(begin..begin + line.trim_end_matches('\r').len());
        begin += line.len() + 1;
    }
    all
}

/// Cells of a line, trimmed, with their spans. A cell may stand in quotation marks and then hold commas.
pub(super) fn cells(text: &str, line: Span<usize>) -> Vec<(String, Span<usize>)> {
    let mut all = Vec::new();
    let mut begin = line.start;
    let mut inside = false;
    let content = &text[line.clone()];
    let ends = content.char_indices().filter_map(|(i, c)| {
        if c == '"' {
            inside = !inside;
        }
        (c == ',' && !inside).then_some(line.start + i)
    });
    let ends: Vec<usize> = ends.chain([line.end]).collect();
    for end in ends {
        let cell = text[begin..end].trim();
        let cell = cell
            .strip_prefix('"')
            .and_then(|c| c.strip_suffix('"'))
            .unwrap_or(cell);
        all.push((cell.trim().replace("\"\"", "\""), begin..end));
        begin = end + 1;
    }
    all
}
