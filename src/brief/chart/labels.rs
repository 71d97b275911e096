//! Text finds its place: a board that knows what is taken, and puts each label at the best of the spots offered.
//!
//! Labels come in order of weight. Each takes, of its spots, the one that costs least: lines it would cross, ground it would lie on, and
//! how late the spot is offered. No label may meet another or leave the board.

use super::ChartError;
use super::pen::{Pen, Tie, text_width};
use plotters::style::{RGBColor, WHITE};

/// Half the height of letters over the text size: from below the descender to above the capitals (DejaVu Sans, -0.24 to 0.73 of the
/// letters' size).
const HALF: f64 = 0.42;
/// Room kept between labels: beside each other, and over each other.
const APART: (f64, f64) = (9.0, 2.5);
/// What each later spot costs.
const LATER: f64 = 0.08;
/// What it costs to lie on ground or hatching.
const ON_AREA: f64 = 0.5;
/// Steps of a search over the board.
const STEP: f64 = 6.0;

/// A box on the board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::brief) struct Rect {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Rect {
    pub fn grown(self, by: f64) -> Self {
        Self {
            left: self.left - by,
            top: self.top - by,
            right: self.right + by,
            bottom: self.bottom + by,
        }
    }

    pub fn meets(self, other: Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    pub fn holds(self, other: Self) -> bool {
        self.left <= other.left
            && self.right >= other.right
            && self.top <= other.top
            && self.bottom >= other.bottom
    }

    /// Whether a straight line passes through (the part of it inside each pair of sides, after Liang and Barsky).
    pub fn crossed(self, a: (f64, f64), b: (f64, f64)) -> bool {
        let (mut from, mut to) = (0.0_f64, 1.0_f64);
        for (start, step, low, high) in [
            (a.0, b.0 - a.0, self.left, self.right),
            (a.1, b.1 - a.1, self.top, self.bottom),
        ] {
            if step.abs() < 1e-9 {
                if start <= low || start >= high {
                    return false;
                }
                continue;
            }
            let (x, y) = ((low - start) / step, (high - start) / step);
            from = from.max(x.min(y));
            to = to.min(x.max(y));
        }
        from < to
    }

    /// The point of the box that is nearest to a point.
    pub fn nearest(self, p: (f64, f64)) -> (f64, f64) {
        (
            p.0.clamp(self.left, self.right),
            p.1.clamp(self.top, self.bottom),
        )
    }

    fn outline(self) -> [(f64, f64); 4] {
        [
            (self.left, self.top),
            (self.right, self.top),
            (self.right, self.bottom),
            (self.left, self.bottom),
        ]
    }
}

/// One row of a label.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::brief) struct Row {
    pub text: String,
    pub size: f64,
    pub bold: bool,
}

/// A label: rows below each other in one colour.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::brief) struct Label {
    rows: Vec<Row>,
    colour: RGBColor,
}

impl Label {
    pub fn new(text: impl Into<String>, size: f64, colour: RGBColor) -> Self {
        Self {
            rows: vec![],
            colour,
        }
        .then(text, size, false)
    }

    pub fn bold(text: impl Into<String>, size: f64, colour: RGBColor) -> Self {
        Self {
            rows: vec![],
            colour,
        }
        .then(text, size, true)
    }

    /// With one row more.
    #[must_use]
    pub fn then(mut self, text: impl Into<String>, size: f64, bold: bool) -> Self {
        self.rows.push(Row {
            text: text.into(),
            size,
            bold,
        });
        self
    }

    pub fn width(&self) -> f64 {
        self.rows
            .iter()
            .map(|r| text_width(&r.text, r.size, r.bold))
            .fold(0.0, f64::max)
    }

    /// From half-way of its first row to half-way of its last.
    fn between(&self) -> f64 {
        self.rows
            .windows(2)
            .map(|w| 0.52 * (w[0].size + w[1].size))
            .sum()
    }

    pub fn height(&self) -> f64 {
        let half = |r: Option<&Row>| HALF * r.map_or(0.0, |r| r.size);
        self.between() + half(self.rows.first()) + half(self.rows.last())
    }

    pub fn rect(&self, spot: Spot) -> Rect {
        spot.rect((self.width(), self.height()))
    }
}

/// Where a label may be: the middle of its height, and the end of its rows it is tied by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::brief) struct Spot {
    pub x: f64,
    pub y: f64,
    pub tie: Tie,
}

impl Spot {
    fn rect(self, (w, h): (f64, f64)) -> Rect {
        let spot = self;
        let left = match spot.tie {
            Tie::Left => spot.x,
            Tie::Centre => spot.x - 0.5 * w,
            Tie::Right => spot.x - w,
        };
        Rect {
            left,
            top: spot.y - 0.5 * h,
            right: left + w,
            bottom: spot.y + 0.5 * h,
        }
    }
}

pub(in crate::brief) const fn spot(x: f64, y: f64, tie: Tie) -> Spot {
    Spot { x, y, tie }
}

/// What it costs a label to lie on something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::brief) enum Weight {
    /// Only where there is no other place.
    Heavy,
    /// If it must.
    Light,
}

impl Weight {
    fn cost(self) -> f64 {
        match self {
            Self::Heavy => 100.0,
            Self::Light => 1.0,
        }
    }
}

struct Line {
    points: Vec<(f64, f64)>,
    clear: f64,
    weight: Weight,
}

/// What is on the board.
pub(in crate::brief) struct Board {
    bounds: Rect,
    taken: Vec<Rect>,
    lines: Vec<Line>,
    /// Ground, which labels are written on as it is.
    ground: Vec<Rect>,
    /// Hatched areas.
    hatched: Vec<Rect>,
    written: Vec<(Label, Spot)>,
}

impl Board {
    pub fn new(bounds: Rect) -> Self {
        Self {
            bounds,
            taken: vec![],
            lines: vec![],
            ground: vec![],
            hatched: vec![],
            written: vec![],
        }
    }

    /// A line that labels keep clear of by this much.
    pub fn line(&mut self, points: &[(f64, f64)], clear: f64, weight: Weight) {
        self.lines.push(Line {
            points: points.to_vec(),
            clear,
            weight,
        });
    }

    /// Ground, not the best place to write.
    pub fn ground(&mut self, area: Rect) {
        self.ground.push(area);
    }

    /// A hatched area, not the best place to write either.
    pub fn hatched(&mut self, area: Rect) {
        self.hatched.push(area);
    }

    /// A place no label may take.
    pub fn take(&mut self, area: Rect) {
        self.taken.push(area);
    }

    fn cost(&self, rect: Rect) -> f64 {
        let crossed = |l: &Line| {
            let wide = rect.grown(l.clear);
            l.points.windows(2).any(|w| wide.crossed(w[0], w[1]))
        };
        let lines: f64 = self
            .lines
            .iter()
            .filter(|l| crossed(l))
            .map(|l| l.weight.cost())
            .sum();
        let area = |on: &[Rect]| {
            if on.iter().any(|g| g.meets(rect)) {
                ON_AREA
            } else {
                0.0
            }
        };
        lines + area(&self.ground) + area(&self.hatched)
    }

    /// Whether a box is on the board and meets no label.
    pub fn free(&self, rect: Rect) -> bool {
        let wide = Rect {
            left: rect.left - APART.0,
            top: rect.top - APART.1,
            right: rect.right + APART.0,
            bottom: rect.bottom + APART.1,
        };
        self.bounds.holds(rect) && !self.taken.iter().any(|t| t.meets(wide))
    }

    /// Writes at a spot of its own, next to others if need be, unless it would meet one.
    pub fn fix(&mut self, label: &Label, at: Spot) -> bool {
        let rect = label.rect(at);
        let good = self.bounds.holds(rect) && !self.taken.iter().any(|t| t.meets(rect));
        if good {
            self.taken.push(rect);
            self.written.push((label.clone(), at));
        }
        good
    }

    /// Whether a straight line passes through no label.
    pub fn open(&self, a: (f64, f64), b: (f64, f64)) -> bool {
        !self.taken.iter().any(|t| t.crossed(a, b))
    }

    /// Whether a box meets nothing at all: no label, no line, no ground.
    pub fn empty(&self, rect: Rect) -> bool {
        self.free(rect) && self.cost(rect) <= 0.0
    }

    /// Writes where there is room at one of the spots, no heavier than told; says where.
    pub fn offer(&mut self, label: &Label, spots: &[Spot], most: Weight) -> Option<Rect> {
        let limit = match most {
            Weight::Heavy => f64::INFINITY,
            Weight::Light => Weight::Heavy.cost(),
        };
        let size = (label.width(), label.height());
        let mut best: Option<(f64, Spot, Rect)> = None;
        for (late, &at) in (0_u32..).zip(spots) {
            // A later spot cannot be better than one that costs nothing.
            if best.is_some_and(|b| b.0 <= LATER * f64::from(late)) {
                break;
            }
            let rect = at.rect(size);
            if !self.free(rect) {
                continue;
            }
            let cost = self.cost(rect);
            let with_lateness = cost + LATER * f64::from(late);
            if cost < limit && best.is_none_or(|b| with_lateness < b.0) {
                best = Some((with_lateness, at, rect));
            }
        }
        let (_, at, rect) = best?;
        self.taken.push(rect);
        self.written.push((label.clone(), at));
        Some(rect)
    }

    /// Writes at one of the spots, or else as near to the first as there is room in an area, on lines where it must.
    pub fn place(&mut self, label: &Label, spots: &[Spot], area: Rect) -> Option<Rect> {
        if let Some(rect) = self.offer(label, spots, Weight::Light) {
            return Some(rect);
        }
        let first = *spots.first()?;
        let (w, h) = (label.width(), label.height());
        let wanted = label.rect(first);
        let middle = (
            0.5 * (wanted.left + wanted.right),
            0.5 * (wanted.top + wanted.bottom),
        );
        let mut all = Vec::new();
        let mut y = area.top + 0.5 * h;
        while y <= area.bottom - 0.5 * h {
            let mut x = area.left + 0.5 * w;
            while x <= area.right - 0.5 * w {
                all.push(spot(x, y, Tie::Centre));
                x += STEP;
            }
            y += STEP;
        }
        // Up and down is as far as twice to the side: labels are wide.
        let away = |s: &Spot| (s.x - middle.0).hypot(2.0 * (s.y - middle.1));
        all.sort_by(|a, b| away(a).total_cmp(&away(b)));
        self.offer(label, &all, Weight::Light)
            .or_else(|| self.offer(label, &all, Weight::Heavy))
    }

    /// Writes all labels, on white where a light line passes beneath.
    pub fn write(&self, pen: &Pen) -> Result<(), ChartError> {
        for (label, at) in &self.written {
            let rect = label.rect(*at);
            let on_ground = self.ground.iter().any(|g| g.meets(rect));
            let crossed = self
                .lines
                .iter()
                .filter(|l| l.weight == Weight::Light)
                .any(|l| l.points.windows(2).any(|w| rect.crossed(w[0], w[1])))
                || self.hatched.iter().any(|h| h.meets(rect));
            if crossed && !on_ground {
                pen.area(&rect.grown(1.0).outline(), WHITE)?;
            }
            let mut y = rect.top;
            for (i, row) in label.rows.iter().enumerate() {
                y += match i {
                    0 => HALF * row.size,
                    _ => 0.52 * (label.rows[i - 1].size + row.size),
                };
                pen.text(
                    &row.text,
                    (at.x, y),
                    (row.size, row.bold),
                    label.colour,
                    at.tie,
                )?;
            }
        }
        Ok(())
    }
}

/// A text cut to a width: smaller as far as allowed, then with dots.
pub(in crate::brief) fn fitted(
    text: &str,
    (size, least): (f64, f64),
    bold: bool,
    width: f64,
) -> (String, f64) {
    let mut size = size;
    while size > least && text_width(text, size, bold) > width {
        size = (size - 0.5).max(least);
    }
    let mut shown = text.to_owned();
    while text_width(&shown, size, bold) > width && !shown.is_empty() {
        let kept = shown.chars().count().saturating_sub(2);
        shown = shown.chars().take(kept).collect::<String>();
        if !shown.is_empty() {
            shown.push('…');
        }
    }
    (shown, size)
}

#[cfg(test)]
mod tests {
    use super::super::pen::{INK, SMALL};
    use super::*;
    use proptest::prelude::*;

    const BOARD: Rect = Rect {
        left: 0.0,
        top: 0.0,
        right: 400.0,
        bottom: 200.0,
    };

    #[test]
    fn closed_form_lines_through_a_box() {
        let r = Rect {
            left: 10.0,
            top: 10.0,
            right: 20.0,
            bottom: 20.0,
        };
        for (a, b, crossed) in [
            ((0.0, 15.0), (30.0, 15.0), true),
            ((0.0, 0.0), (30.0, 30.0), true),
            ((12.0, 12.0), (14.0, 13.0), true),
            ((0.0, 15.0), (9.0, 15.0), false),
            ((0.0, 25.0), (30.0, 25.0), false),
            ((0.0, 19.0), (9.0, 28.0), false),
            // Along an edge is beside it.
            ((0.0, 10.0), (30.0, 10.0), false),
        ] {
            assert_eq!(r.crossed(a, b), crossed, "{a:?} {b:?}");
            assert_eq!(r.crossed(b, a), crossed, "{b:?} {a:?}");
        }
    }

    #[test]
    fn closed_form_a_label_takes_the_first_spot_that_is_clear() {
        let mut board = Board::new(BOARD);
        board.line(&[(0.0, 100.0), (400.0, 100.0)], 2.0, Weight::Heavy);
        let label = Label::new("words", SMALL, INK);
        let spots = [100.0, 60.0, 140.0].map(|y| spot(200.0, y, Tie::Centre));
        let first = board.offer(&label, &spots, Weight::Light).expect("room");
        assert!((first.top + first.bottom - 120.0).abs() < 1e-9);
        // Taken now: the next goes below, and one more nowhere without crossing the line.
        let second = board.offer(&label, &spots, Weight::Light).expect("room");
        assert!((second.top + second.bottom - 280.0).abs() < 1e-9);
        assert_eq!(board.offer(&label, &spots, Weight::Light), None);
        // Unless it may look over the whole board.
        let third = board.place(&label, &spots, BOARD).expect("room");
        assert!(!third.meets(first) && !third.meets(second));
        assert!(!third.crossed((0.0, 100.0), (400.0, 100.0)));
    }

    #[test]
    fn closed_form_long_text_shrinks_then_ends_in_dots() {
        let long = "from one place to another by way of many more";
        let wide = text_width(long, 20.0, true);
        assert_eq!(fitted(long, (20.0, 12.0), true, wide + 1.0).1, 20.0);
        let (text, size) = fitted(long, (20.0, 12.0), true, 0.8 * wide);
        assert!(text == long && (12.0..17.0).contains(&size), "{size}");
        let (text, size) = fitted(long, (20.0, 12.0), true, 0.3 * wide);
        assert!(text.ends_with('…') && size == 12.0, "{text}");
        assert!(text_width(&text, size, true) <= 0.3 * wide);
    }

    proptest! {
        /// Whatever is asked for, no two labels meet and none leaves the board.
        #[test]
        fn closed_form_labels_never_meet(
            asked in prop::collection::vec(("[a-z ]{1,20}", -50.0..450.0_f64, -50.0..250.0_f64, any::<bool>()), 1..30)
        ) {
            let mut board = Board::new(BOARD);
            board.line(&[(0.0, 0.0), (400.0, 200.0)], 3.0, Weight::Heavy);
            let mut placed: Vec<Rect> = vec![];
            for (text, x, y, must) in asked {
                let label = Label::new(text, SMALL, INK);
                let spots = [spot(x, y, Tie::Left), spot(x, y, Tie::Right)];
                let rect = if must {
                    board.place(&label, &spots, BOARD)
                } else {
                    board.offer(&label, &spots, Weight::Heavy)
                };
                if let Some(r) = rect {
                    prop_assert!(BOARD.holds(r));
                    prop_assert!(placed.iter().all(|p| !p.meets(r)));
                    placed.push(r);
                }
            }
        }
    }
}
