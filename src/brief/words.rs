//! How figures are written: safe rounding, thousands, and the few phrases every face shares.

/// What every face of an aeroplane with more than one engine says.
pub const ONE_ENGINE: &str =
    "Flight on one engine is not modelled: the flight manual's figures decide.";
/// Whose the figures are when there is more than one engine.
pub const EACH_ENGINE: &str =
    "MAP and RPM are those of each engine, fuel and totals those of the whole aeroplane.";

/// Float noise below this does not count when rounding up or down.
const NOISE: f64 = 1e-5;

fn scale(places: i32) -> f64 {
    10_f64.powi(places)
}

/// Rounded up to so many decimal places: fuel burned, distance of the top of descent.
pub fn up(x: f64, places: i32) -> f64 {
    let s = scale(places);
    positive_zero((x * s - NOISE).ceil() / s)
}

/// Rounded down: fuel left, rate of climb, anything gained.
pub fn down(x: f64, places: i32) -> f64 {
    let s = scale(places);
    positive_zero((x * s + NOISE).floor() / s)
}

/// Rounded to the nearest.
pub fn near(x: f64, places: i32) -> f64 {
    let s = scale(places);
    positive_zero((x * s).round() / s)
}

fn positive_zero(x: f64) -> f64 {
    if x == 0.0 { 0.0 } else { x }
}

/// A number with commas between thousands and no more decimals than asked for.
pub fn number(x: f64, places: usize) -> String {
    if !x.is_finite() {
        return "-".to_owned();
    }
    let text = format!("{:.places$}", x.abs());
    let (whole, rest) = text
        .split_once('.')
        .map_or((text.as_str(), ""), |(w, r)| (w, r));
    let mut grouped = String::new();
    for (i, digit) in whole.chars().enumerate() {
        if i > 0 && (whole.len() - i).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    if !rest.is_empty() {
        grouped.push('.');
        grouped.push_str(rest);
    }
    if x < 0.0 && grouped.chars().any(|c| c.is_ascii_digit() && c != '0') {
        grouped.insert(0, '-');
    }
    grouped
}

/// So many of what has a word for one and another for several.
pub fn so_many(n: f64, one: &str, several: &str) -> String {
    let word = if n == 1.0 { one } else { several };
    format!("{} {word}", number(n, usize::from(n.fract() != 0.0)))
}

/// The same of a count.
#[expect(clippy::cast_precision_loss, reason = "a count")]
pub fn many(n: usize, one: &str, several: &str) -> String {
    so_many(n as f64, one, several)
}

/// A height: whole feet with a comma, no unit.
pub fn feet(ft: f64) -> String {
    number(near(ft, 0), 0)
}

/// A height to the nearest ten feet, no unit.
pub fn tens(ft: f64) -> String {
    number(near(ft, -1), 0)
}

/// Manifold pressure: a tenth of an inch, the tenth dropped when it is nought, no unit.
pub fn inches(inhg: f64) -> String {
    let x = near(inhg, 1);
    number(x, usize::from((x - near(inhg, 0)).abs() > 0.01))
}

/// Crankshaft speed to the nearest ten, no unit.
pub fn revs(rpm: f64) -> String {
    number(near(rpm, -1), 0)
}

/// Whole knots.
pub fn knots(kt: f64) -> String {
    number(near(kt, 0), 0)
}

/// Hours and minutes, rounded up to the minute.
pub fn clock(minutes: f64) -> String {
    let whole = up(minutes.max(0.0), 0);
    let hours = (whole / 60.0).floor();
    format!("{hours:.0}:{:02.0}", whole - 60.0 * hours)
}

/// Hours and minutes, rounded down to the minute: for the start down, which may be early but not late.
pub fn clock_before(minutes: f64) -> String {
    clock(down(minutes.max(0.0), 0))
}

/// A power setting: manifold pressure in the words given and RPM; at fixed pitch RPM alone.
pub fn setting(fixed_pitch: bool, map: &str, rpm: f64) -> String {
    if fixed_pitch {
        format!("{} rpm", revs(rpm))
    } else {
        format!("{map} / {}", revs(rpm))
    }
}

/// A capital at the start.
pub fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The words with each figure kept on one line with its unit, and a slash with what follows.
pub fn unbroken(words: &str) -> String {
    let mut out = String::with_capacity(words.len());
    let mut before = None;
    let mut rest = words.chars().peekable();
    while let Some(c) = rest.next() {
        let unit = before.is_some_and(|b: char| b.is_ascii_digit())
            && rest.peek().is_some_and(|n| n.is_ascii_alphabetic());
        let slash = before == Some('/') || (rest.peek() == Some(&'/') && before == Some(')'));
        out.push(if c == ' ' && (unit || slash) {
            '\u{a0}'
        } else {
            c
        });
        before = Some(c);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_rounding_is_on_the_safe_side() {
        assert_eq!(up(10.01, 1), 10.1);
        assert_eq!(up(10.1, 1), 10.1);
        assert_eq!(up(0.1 + 0.2, 1), 0.3);
        assert_eq!(down(20.99, 0), 20.0);
        assert_eq!(down(21.0 - 1e-9, 0), 21.0);
        assert_eq!(down(487.0, -1), 480.0);
    }

    #[test]
    fn closed_form_words() {
        assert_eq!(feet(9_500.2), "9,500");
        assert_eq!(feet(999.6), "1,000");
        assert_eq!(inches(22.5), "22.5");
        assert_eq!(inches(22.98), "23");
        assert_eq!(revs(2_302.0), "2,300");
        assert_eq!(clock(61.2), "1:02");
        assert_eq!(clock(59.99), "1:00");
        assert_eq!(clock_before(91.9), "1:31");
        assert_eq!(clock_before(60.0 - 1e-9), "1:00");
        assert_eq!(setting(false, "22 in", 2_300.0), "22 in / 2,300");
        assert_eq!(setting(true, "22 in", 2_450.0), "2,450 rpm");
        assert_eq!(number(-0.04, 1), "0.0");
        assert_eq!(number(-1_234.5, 1), "-1,234.5");
        assert_eq!(number(f64::NAN, 1), "-");
    }
}
