//! One entry of a TOML text changed as it is typed: `section.key=value`.

use super::diagnostic::without_mark;
use toml::de::{DeTable, DeValue};

/// The parts of a path of keys: a key, and of a list of tables which, from one.
fn parts(path: &str) -> Option<Vec<(&str, Option<usize>)>> {
    path.split('.')
        .map(|part| {
            let part = part.trim();
            let (key, index) = match part.split_once('[') {
                None => (part, None),
                Some((key, rest)) => {
                    let index: usize = rest.strip_suffix(']')?.parse().ok()?;
                    (key, Some(index.checked_sub(1)?))
                }
            };
            (!key.is_empty()).then_some((key, index))
        })
        .collect()
}

/// A typed value as TOML has it: what is no value is a text.
fn value(typed: &str) -> String {
    let as_is = format!("x = {typed}");
    // A line break would end the entry and begin another.
    if !typed.contains(['\n', '\r']) && DeTable::parse(&as_is).is_ok() {
        typed.to_owned()
    } else {
        format!("{typed:?}")
    }
}

/// A text with one entry, as `section.key=value`, in the place of its old value, or under the head of its section where it has none.
///
/// # Errors
/// What is wrong with the entry, in words.
pub fn with_entry(text: &str, entry: &str) -> Result<String, String> {
    let text = without_mark(text);
    let form = || format!("{entry:?} is not of the form SECTION.KEY=VALUE, as drag.cd0=0.025");
    let (path, typed) = entry.split_once('=').ok_or_else(form)?;
    let (path, typed) = (path.trim(), typed.trim());
    let parts = parts(path)
        .filter(|p| p.len() >= 2 && !typed.is_empty())
        .ok_or_else(form)?;
    let table = DeTable::parse(text).map_err(|e| format!("it is not TOML: {}", e.message()))?;
    let (last, sections) = parts.split_last().ok_or_else(form)?;
    let mut at: &DeTable = table.get_ref();
    for &(key, index) in sections {
        let none = || format!("it has no section {key:?}");
        let found = at.get(key).ok_or_else(none)?.get_ref();
        at = match (found, index) {
            (DeValue::Table(t), None) => t,
            (DeValue::Array(rows), Some(i)) => match rows.get(i).map(toml::Spanned::get_ref) {
                Some(DeValue::Table(t)) => t,
                _ => return Err(format!("it has {} of {key:?}, counted from 1", rows.len())),
            },
            (DeValue::Array(rows), None) => {
                return Err(format!(
                    "{key:?} is a list of {}: say which as {key}[1]",
                    rows.len()
                ));
            }
            _ => return Err(none()),
        };
    }
    let new = value(typed);
    let found = match (at.get(last.0), last.1) {
        (None, None) => None,
        (Some(old), None) => Some(old),
        (Some(old), Some(i)) => match old.get_ref() {
            DeValue::Array(values) => Some(values.get(i).ok_or_else(|| {
                format!("it has {} of {:?}, counted from 1", values.len(), last.0)
            })?),
            _ => return Err(format!("{:?} is no list", last.0)),
        },
        (None, Some(_)) => return Err(format!("it has no {:?}", last.0)),
    };
    if let Some(old) = found {
        let span = old.span();
        return Ok(format!("{}{new}{}", &text[..span.start], &text[span.end..]));
    }
    let head: Vec<&str> = sections.iter().map(|s| s.0).collect();
    let head = format!("[{}]", head.join("."));
    let mut end = 0;
    for line in text.split_inclusive('\n') {
        end += line.len();
        let bare = line.split('#').next().unwrap_or(line).trim();
        if bare == head && line.ends_with('\n') {
            let (before, after) = text.split_at(end);
            return Ok(format!("{before}{} = {new}\n{after}", last.0));
        }
    }
    Err(format!(
        "it has no {path:?}, and no line {head} to put it under"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "[drag] # of the wing\ncd0 = 0.03 # clean\n\n[[drag.flap]]\ncd = 0.1\n[[drag.flap]]\ncd = 0.2\n[engine]\nfriction = [1, 2, 3]\n";

    #[test]
    fn closed_form_one_entry_is_changed_and_nothing_else() {
        for (entry, old, new) in [
            ("drag.cd0=0.025", "cd0 = 0.03", "cd0 = 0.025"),
            (" drag.cd0 = 0.025 ", "cd0 = 0.03", "cd0 = 0.025"),
            ("drag.flap[2].cd=0.3", "cd = 0.2", "cd = 0.3"),
            ("engine.friction[2]=7", "[1, 2, 3]", "[1, 7, 3]"),
            ("engine.friction=[4]", "[1, 2, 3]", "[4]"),
            (
                "engine.induction=injected",
                "[engine]\n",
                "[engine]\ninduction = \"injected\"\n",
            ),
            (
                "drag.k=0.05",
                "# of the wing\n",
                "# of the wing\nk = 0.05\n",
            ),
        ] {
            assert_eq!(
                with_entry(TEXT, entry),
                Ok(TEXT.replace(old, new)),
                "{entry}"
            );
        }
    }

    #[test]
    fn closed_form_what_is_not_there_is_said() {
        for (entry, words) in [
            ("cd0", "not of the form"),
            ("cd0=1", "not of the form"),
            ("drag.cd0=", "not of the form"),
            ("drag.flap[0].cd=1", "not of the form"),
            ("wing.area=1", "no section \"wing\""),
            ("drag.flap.cd=1", "say which as flap[1]"),
            ("drag.flap[3].cd=1", "it has 2"),
            ("drag.cd0[1]=1", "no list"),
            ("drag.cd0.x=1", "no section"),
            ("engine.friction[9]=1", "it has 3"),
            ("drag.flap[1].angle=1", "no line [drag.flap]"),
        ] {
            let e = with_entry(TEXT, entry).expect_err(entry);
            assert!(e.contains(words), "{entry}: {e}");
        }
        // What is typed is one value, whatever it is.
        let odd = with_entry(TEXT, "drag.cd0=1\n[x]").expect("a text");
        assert!(odd.contains("cd0 = \"1\\n[x]\""), "{odd}");
    }
}
