//! What every face of the card says, in words: the sides, what to do otherwise, the places.

use super::Group;
use crate::brief::measure::{Amount, Units};
use crate::brief::words::{clock, down, feet, number, up};
use crate::brief::{Figures, WaypointFigures};

/// One line of a side.
pub(super) struct Row<'a> {
    pub(super) group: Option<&'static str>,
    pub(super) order: usize,
    pub(super) see: &'a str,
    pub(super) action: &'a str,
    pub(super) expect: &'a str,
}

/// One side.
pub(super) struct Side<'a> {
    pub(super) title: String,
    pub(super) rows: Vec<Row<'a>>,
}

/// Something said under a heading: what is the case, what to do.
pub(super) struct Case {
    pub(super) when: String,
    pub(super) then: String,
}

/// A place, in the words of its columns.
pub(super) struct Place {
    pub(super) name: String,
    pub(super) to_go: String,
    pub(super) course: String,
    pub(super) heading: String,
    pub(super) leg: String,
    pub(super) elapsed: String,
    pub(super) height: String,
    pub(super) left: Amount,
    pub(super) least: Amount,
}

impl Place {
    /// Under [`place_heads`].
    pub(super) fn columns(&self) -> [&str; 9] {
        [
            &self.name,
            &self.to_go,
            &self.course,
            &self.heading,
            &self.leg,
            &self.elapsed,
            &self.height,
            &self.left.figure,
            &self.least.figure,
        ]
    }
}

/// The card in words.
pub(super) struct Face<'a> {
    pub(super) title: &'static str,
    pub(super) trip: String,
    pub(super) in_one_line: &'a str,
    /// Said loudly.
    pub(super) loud: Option<String>,
    pub(super) sides: [Side<'a>; 2],
    pub(super) down: String,
    pub(super) otherwise: Vec<Case>,
    pub(super) places: Vec<Place>,
    pub(super) places_say: String,
    pub(super) notes: Vec<String>,
}

/// Heads of the columns of places.
pub(super) fn place_heads(units: Units) -> [String; 9] {
    let volume = units.volume();
    [
        "place".to_owned(),
        "nm to go".to_owned(),
        "course".to_owned(),
        "heading".to_owned(),
        "leg".to_owned(),
        "since".to_owned(),
        "ft".to_owned(),
        format!("{volume} left"),
        format!("least {volume}"),
    ]
}

/// The lines after the places.
fn places_say(units: Units) -> String {
    format!(
        "Course and heading magnetic, heading with the wind; least {}: from there to the destination, circuit \
     and reserve. Write beside each: time, fuel, MAP, RPM.",
        units.volume()
    )
}

fn side(figures: &Figures, arrival: bool) -> Side<'_> {
    let mut group: Option<Group> = None;
    let alike = if figures.trip.engines > 1 {
        " (all engines alike)"
    } else {
        ""
    };
    let rows = figures
        .lever_card
        .iter()
        .filter(|l| l.group.arrival_side() == arrival)
        .map(|l| {
            let new = group != Some(l.group);
            group = Some(l.group);
            Row {
                group: new.then(|| l.group.name()),
                order: l.order,
                see: &l.trigger,
                action: &l.action,
                expect: &l.expect,
            }
        })
        .collect();
    let name = match (arrival, figures.trip.start_in_flight) {
        (true, _) => "Arrival",
        (false, Some(_)) => "From here",
        (false, None) => "Departure",
    };
    Side {
        title: format!("{name}{alike}"),
        rows,
    }
}

/// What moves the top of descent.
fn down_words(figures: &Figures) -> String {
    let shift = &figures.top_of_descent_shift;
    format!(
        "{} kt more GS: down {} nm earlier; less: later.",
        number(shift.ground_speed_kt, 0),
        number(up(shift.earlier_nm, 1), 1)
    )
}

fn otherwise(figures: &Figures) -> Vec<Case> {
    let mut cases = Vec::new();
    if let Some(r) = &figures.if_rough {
        cases.push(Case {
            when: "if it is rough".to_owned(),
            then: r.text.clone(),
        });
    }
    let Some(late) = &figures.if_late else {
        return cases;
    };
    for s in &late.starts {
        cases.push(Case {
            when: format!(
                "{} nm late, {} to go",
                number(s.past_nm, 0),
                number(up(s.to_go_nm, 0), 0)
            ),
            then: s.text.clone(),
        });
    }
    let last = late.last_to_go_nm;
    cases.push(if last < figures.top_of_descent_to_go_nm - 1e-3 {
        Case {
            when: format!("last start {} nm to go", number(up(last, 1), 1)),
            then: format!("after it {}", late.after),
        }
    } else {
        Case {
            when: "any later".to_owned(),
            then: late.after.to_owned(),
        }
    });
    if let Some(e) = &late.early {
        cases.push(Case {
            when: format!("told down early, {} nm to go", number(up(e.to_go_nm, 0), 0)),
            then: e.text.clone(),
        });
    }
    cases
}

fn degrees(deg: Option<f64>) -> String {
    deg.map_or(String::new(), |d| {
        let whole = d.round().rem_euclid(360.0);
        format!("{:03.0}", if whole == 0.0 { 360.0 } else { whole })
    })
}

fn places(figures: &Figures) -> Vec<Place> {
    // Minutes of the legs add up to those since lift-off.
    let mut before_min = 0.0;
    let mut leg = move |elapsed_min: f64| {
        let leg_min = elapsed_min - before_min;
        before_min = elapsed_min;
        clock(leg_min)
    };
    // Nobody starts down late by the clock.
    let elapsed = |w: &WaypointFigures| match w.kind {
        "top_of_descent" => down(w.time_min, 0),
        _ => up(w.time_min, 0),
    };
    figures
        .waypoints
        .iter()
        .enumerate()
        .map(|(i, w)| Place {
            name: w.place.clone(),
            to_go: number(up(w.to_go_nm, 0), 0),
            course: degrees(w.magnetic_course_deg),
            heading: degrees(w.magnetic_heading_deg),
            leg: if i > 0 {
                leg(elapsed(w))
            } else {
                String::new()
            },
            elapsed: clock(elapsed(w)),
            height: feet(crate::brief::words::near(w.indicated_altitude_ft, -1)),
            left: figures.units.left_on_card(w.fuel_left_gal),
            least: figures.units.needed_on_card(w.least_fuel_gal),
        })
        .collect()
}

impl<'a> Face<'a> {
    pub(super) fn new(figures: &'a Figures) -> Self {
        let mut notes = figures.card_notes.clone();
        notes.extend(figures.warnings.iter().map(|w| format!("! {}.", w.text)));
        notes.extend(figures.cautions.iter().cloned());
        Self {
            title: figures.title,
            trip: format!(
                "{}: {}, {}",
                figures.trip.name,
                figures.route(),
                figures.trip.aircraft
            ),
            in_one_line: &figures.in_one_line_on_card,
            loud: figures.unknown_ground(),
            sides: [side(figures, false), side(figures, true)],
            down: down_words(figures),
            otherwise: otherwise(figures),
            places: places(figures),
            places_say: places_say(figures.units),
            notes,
        }
    }
}
