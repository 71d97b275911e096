//! Reads figures out of the text of a face, and says what may be shown for a figure of the JSON.

use serde_json::Value;
use std::cell::RefCell;
use std::collections::BTreeSet;

/// Figures of the JSON are written to a millionth of a gallon, mile or minute; in litres that is four.
const NOISE: f64 = 2e-5;

/// Which way a figure is rounded.
#[derive(Debug, Clone, Copy)]
pub enum Way {
    /// Never less than it is: what is burned, needed, far.
    Up,
    /// Never more than it is: what is left, gained.
    Down,
    /// To the nearest.
    Near,
}
use Way::{Down, Near, Up};

/// Units of the faces, with what a gallon, a pound and an inch of mercury are in them.
#[derive(Debug, Clone, Copy)]
pub struct Units {
    pub name: &'static str,
    pub volume: &'static str,
    pub flow: &'static str,
    pub weight: &'static str,
    pub pressure: &'static str,
    pub per_gal: f64,
    pub per_lb: f64,
    pub per_inhg: f64,
    /// Steps: tables and sentences, card, differences, errors of the re-flight, weights, altimeter.
    pub table: f64,
    pub card: f64,
    pub fine: f64,
    pub trace: f64,
    pub weights: f64,
    pub altimeter: (f64, Way),
}

/// Steps as in the README; half a gallon on the card and a tenth in tables are asked for by the issue.
pub const US: Units = Units {
    name: "us",
    volume: "gal",
    flow: "gph",
    weight: "lb",
    pressure: "inHg",
    per_gal: 1.0,
    per_lb: 1.0,
    per_inhg: 1.0,
    table: 0.1,
    card: 0.5,
    fine: 0.01,
    trace: 0.001,
    weights: 10.0,
    altimeter: (0.01, Near),
};

/// A gallon is 231 cubic inches of 25.4 mm; a pound and an inch of mercury as in NIST SP 811, appendix B.
pub const METRIC: Units = Units {
    name: "metric",
    volume: "L",
    flow: "L/h",
    weight: "kg",
    pressure: "hPa",
    per_gal: 231.0 * 25.4 * 25.4 * 25.4 * 1e-6,
    per_lb: 0.453_592_37,
    per_inhg: 33.863_89,
    table: 0.5,
    card: 2.0,
    fine: 0.1,
    trace: 0.01,
    weights: 5.0,
    altimeter: (1.0, Down),
};

/// A figure as shown: "1,234.5", "+0.5", or hours and minutes as minutes.
pub fn shown(text: &str) -> f64 {
    let plain = text.replace(',', "");
    let parse = |t: &str| -> f64 {
        t.parse()
            .unwrap_or_else(|_| panic!("{text:?} is no figure"))
    };
    match plain.split_once(':') {
        Some((h, m)) => 60.0 * parse(h) + parse(m),
        None => parse(&plain),
    }
}

/// Whether a figure shown is the true one, rounded this way to whole steps; else what is wrong.
fn held(text: &str, truth: f64, step: f64, way: Way) -> Result<(), String> {
    let x = shown(text);
    let (least, most) = match way {
        Up => (truth - NOISE, truth + step),
        Down => (truth - step, truth + NOISE),
        Near => (truth - 0.5 * step - NOISE, truth + 0.5 * step + NOISE),
    };
    let steps = x / step;
    if !(least..=most).contains(&x) {
        Err(format!(
            "{text} is shown for {truth}, rounded {way:?} to {step}"
        ))
    } else if (steps - steps.round()).abs() > 1e-6 {
        Err(format!("{text} is no whole number of {step}"))
    } else {
        Ok(())
    }
}

/// Panics unless a figure shown is the true one, rounded this way to whole steps.
pub fn holds(what: &str, text: &str, truth: f64, step: f64, way: Way) {
    held(text, truth, step, way).unwrap_or_else(|wrong| panic!("{what}: {wrong}"));
}

/// The number at a place of the JSON.
pub fn at(json: &Value, pointer: &str) -> f64 {
    let number = json.pointer(pointer).and_then(Value::as_f64);
    number.unwrap_or_else(|| panic!("{pointer} is a number"))
}

/// What one figure found must be: what it is of, the truth, the step, the way.
pub type Must = (&'static str, f64, f64, Way);

/// The text of a face with one blank between words, and which of its figures were held against the JSON.
pub struct Text {
    pub face: String,
    pub words: String,
    held: RefCell<BTreeSet<usize>>,
}

fn is_figure(c: char) -> bool {
    c.is_ascii_digit() || matches!(c, ',' | '.' | ':' | '+' | '-')
}

impl Text {
    pub fn new(face: &str, text: &str) -> Self {
        let words: Vec<&str> = text.split_whitespace().collect();
        Self {
            face: face.to_owned(),
            words: words.join(" "),
            held: RefCell::default(),
        }
    }

    /// The figures in the holes `{}` of a pattern wherever its words stand, each with where it begins.
    fn found(&self, pattern: &str) -> Vec<Vec<(usize, &str)>> {
        let parts: Vec<&str> = pattern.split("{}").collect();
        let text = self.words.as_str();
        let mut out = Vec::new();
        'begin: for begin in 0..=text.len() {
            if !text.is_char_boundary(begin) || !text[begin..].starts_with(parts[0]) {
                continue;
            }
            // A pattern that begins with a figure begins where that does.
            if parts[0].is_empty() && text[..begin].ends_with(is_figure) {
                continue;
            }
            let mut here = begin + parts[0].len();
            let mut figures = Vec::new();
            for part in &parts[1..] {
                let rest = &text[here..];
                let mut length = rest.find(|c| !is_figure(c)).unwrap_or(rest.len());
                // A comma or a full stop after a figure is none of it.
                while length > 0
                    && (rest[..length].ends_with([',', '.', ':'])
                        || !rest[length..].starts_with(part))
                {
                    length -= 1;
                }
                if length == 0 || !rest[..length].contains(|c: char| c.is_ascii_digit()) {
                    continue 'begin;
                }
                figures.push((here, &rest[..length]));
                here += length + part.len();
            }
            out.push(figures);
        }
        out
    }

    /// The same; panics unless the words stand somewhere.
    fn found_somewhere(&self, pattern: &str) -> Vec<Vec<(usize, &str)>> {
        let all = self.found(pattern);
        assert!(
            !all.is_empty(),
            "{}: no {pattern:?} in {}",
            self.face,
            self.words
        );
        all
    }

    /// Panics unless the words of a pattern stand somewhere, and wherever they do each figure is what it must be.
    pub fn says(&self, pattern: &str, must: &[Must]) {
        for figures in self.found_somewhere(pattern) {
            assert_eq!(figures.len(), must.len(), "{pattern}");
            for ((place, text), (what, truth, step, way)) in figures.into_iter().zip(must) {
                let what = format!("{}, {pattern:?}, {what}", self.face);
                holds(&what, text, *truth, *step, *way);
                self.held.borrow_mut().insert(place);
            }
        }
    }

    /// The same for times of the day, which the calendar has to the second: no step is looked for.
    pub fn says_times(&self, pattern: &str, must: &[Must]) {
        for figures in self.found_somewhere(pattern) {
            for ((_, text), (what, truth, within, way)) in figures.into_iter().zip(must) {
                let (least, most) = match way {
                    Up => (*truth, truth + within),
                    _ => (truth - within, *truth),
                };
                let x = shown(text);
                assert!(
                    (least..=most).contains(&x),
                    "{}, {what}: {text} for {truth}, {way:?}",
                    self.face
                );
            }
        }
    }

    /// The same where the words may be missing.
    pub fn may_say(&self, pattern: &str, must: &[Must]) {
        if !self.found(pattern).is_empty() {
            self.says(pattern, must);
        }
    }

    /// Panics unless wherever a figure with this unit stands it is right for one of several truths.
    pub fn says_one_of(&self, pattern: &str, truths: &[f64], step: f64, way: Way) {
        for figures in self.found(pattern) {
            for (place, text) in figures {
                let right = |truth: &f64| held(text, *truth, step, way).is_ok();
                assert!(
                    truths.iter().any(right),
                    "{}: {text} in {pattern:?}",
                    self.face
                );
                self.held.borrow_mut().insert(place);
            }
        }
    }

    /// Panics if a figure with this unit was held against nothing.
    pub fn none_left(&self, unit: &str) {
        for after in [" ", ",", ".", ";", ")"] {
            for figures in self.found(&format!("{{}} {unit}{after}")) {
                let (place, text) = figures[0];
                let around: String = self.words[..place]
                    .chars()
                    .rev()
                    .take(60)
                    .collect::<Vec<_>>()
                    .into_iter()
                    .rev()
                    .collect();
                assert!(
                    self.held.borrow().contains(&place),
                    "{}: {text} {unit} was held against nothing: ... {around}",
                    self.face
                );
            }
        }
    }
}

/// The text of HTML without what is drawn, run or styled; a blank where a tag was.
pub fn html_text(html: &str) -> String {
    // A part of a page is all body.
    let mut text = html[html.find("<body").unwrap_or(0)..].to_owned();
    for element in ["svg", "script", "style"] {
        let (open, close) = (format!("<{element}"), format!("</{element}>"));
        while let Some(from) = text.find(&open) {
            let to = text[from..].find(&close).expect("it is closed") + from + close.len();
            text.replace_range(from..to, " ");
        }
    }
    plain(&text)
}

/// Without tags, entities spelled out.
pub fn plain(markup: &str) -> String {
    let mut out = String::new();
    let mut inside = false;
    for c in markup.chars() {
        match c {
            '<' => {
                inside = true;
                out.push(' ');
            }
            '>' => inside = false,
            c if !inside => out.push(c),
            _ => {}
        }
    }
    out.replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&amp;", "&")
}
