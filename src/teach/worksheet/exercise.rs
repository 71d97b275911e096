//! What an exercise is: numbers as they are printed, words with places for them, steps, answer and tolerance.

/// Unit of a printed number; it also says how exactly a pilot reads it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Feet.
    Feet,
    /// Nautical miles, in tenths.
    Nm,
    /// Knots.
    Knots,
    /// Knots of airspeed lost each second, in tenths.
    KnotsPerSecond,
    /// Feet a minute.
    Fpm,
    /// Minutes, in tenths.
    Minutes,
    /// Seconds.
    Seconds,
    /// US gallons, in tenths.
    Gallons,
    /// US gallons an hour, in tenths.
    Gph,
    /// Inches of mercury of manifold pressure, in tenths.
    Inches,
    /// Inches of mercury of an altimeter setting, in hundredths.
    Setting,
    /// Revolutions a minute.
    Rpm,
    /// Per cent of rated power, in tenths.
    Percent,
    /// Degrees Celsius.
    Celsius,
    /// A direction, degrees, three digits, 001 to 360.
    Direction,
    /// An angle, degrees.
    Degrees,
    /// Pounds.
    Pounds,
    /// A ratio, in tenths.
    Ratio,
    /// A fraction of one, in hundredths.
    Fraction,
}

impl Unit {
    /// Decimal places with which it is printed.
    pub const fn places(self) -> u8 {
        match self {
            Self::Feet
            | Self::Knots
            | Self::Fpm
            | Self::Seconds
            | Self::Rpm
            | Self::Celsius
            | Self::Direction
            | Self::Degrees
            | Self::Pounds => 0,
            Self::Nm
            | Self::KnotsPerSecond
            | Self::Minutes
            | Self::Gallons
            | Self::Gph
            | Self::Inches
            | Self::Percent
            | Self::Ratio => 1,
            Self::Setting | Self::Fraction => 2,
        }
    }

    /// Its symbol in files and on paper.
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Feet => "ft",
            Self::Nm => "nm",
            Self::Knots => "kt",
            Self::KnotsPerSecond => "kt/s",
            Self::Fpm => "fpm",
            Self::Minutes => "min",
            Self::Seconds => "s",
            Self::Gallons => "gal",
            Self::Gph => "gph",
            Self::Inches => "in",
            Self::Setting => "inHg",
            Self::Rpm => "rpm",
            Self::Percent => "%",
            Self::Celsius => "°C",
            Self::Direction | Self::Degrees => "°",
            Self::Pounds => "lb",
            Self::Ratio | Self::Fraction => "",
        }
    }

    /// A value as it is printed in this unit.
    pub fn rounded(self, value: f64) -> f64 {
        let scale = 10_f64.powi(i32::from(self.places()));
        let x = (value * scale).round() / scale;
        match self {
            Self::Direction if x <= 0.0 => x + 360.0,
            // No negative zero.
            _ if x == 0.0 => 0.0,
            _ => x,
        }
    }

    /// Whether a sum still is one when all three numbers are printed: 135 - 22.5 = 112.5 is printed as 135 - 23 = 113.
    pub(super) fn adds_up(self, a: f64, b: f64, sum: f64) -> bool {
        (self.rounded(a) + self.rounded(b) - self.rounded(sum)).abs() < 1e-9
    }
}

/// A number with its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    /// In the unit; a given number is as it is printed, a worked one is not rounded.
    pub value: f64,
    /// The unit.
    pub unit: Unit,
}

/// A number with the name by which words speak of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Named {
    /// Name, as `{name}` in the words.
    pub name: &'static str,
    /// The number.
    pub number: Number,
}

/// A table the student reads from: numbers as they are printed.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it is of; `{name}` stands for a number.
    pub caption: &'static str,
    /// Head and unit of each column.
    pub columns: Vec<(&'static str, Unit)>,
    /// Rows.
    pub rows: Vec<Vec<f64>>,
}

impl Table {
    /// The value at a row and a column, as printed.
    pub fn at(&self, row: usize, column: usize) -> Option<f64> {
        self.rows.get(row)?.get(column).copied()
    }
}

/// What exercises are about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Topic {
    /// Top of descent, by rule and by wind.
    Tod,
    /// Required rate of descent.
    Rate,
    /// Power settings from a table.
    Settings,
    /// What RPM does at the same manifold pressure.
    Rpm,
    /// Fuel for the descent.
    Fuel,
    /// A descent begun too late.
    Late,
    /// Pressure and density altitude, true airspeed.
    Density,
    /// The wind triangle.
    Wind,
    /// Cruising levels of the rules.
    Levels,
    /// Slowing down to the gear speed.
    Slowdown,
    /// How far the glide reaches, lever forward and back.
    Glide,
}

impl Topic {
    /// Every topic.
    pub const ALL: [Self; 11] = [
        Self::Tod,
        Self::Rate,
        Self::Settings,
        Self::Rpm,
        Self::Fuel,
        Self::Late,
        Self::Density,
        Self::Wind,
        Self::Levels,
        Self::Slowdown,
        Self::Glide,
    ];

    /// Its short name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Tod => "tod",
            Self::Rate => "rate",
            Self::Settings => "settings",
            Self::Rpm => "rpm",
            Self::Fuel => "fuel",
            Self::Late => "late",
            Self::Density => "density",
            Self::Wind => "wind",
            Self::Levels => "levels",
            Self::Slowdown => "slowdown",
            Self::Glide => "glide",
        }
    }

    /// What it is about, in words.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Tod => "Top of descent",
            Self::Rate => "Required rate of descent",
            Self::Settings => "Power settings from a table",
            Self::Rpm => "RPM at the same manifold pressure",
            Self::Fuel => "Fuel for the descent",
            Self::Late => "A late descent",
            Self::Density => "Density altitude and true airspeed",
            Self::Wind => "Wind triangle",
            Self::Levels => "Cruising levels",
            Self::Slowdown => "Slowing down",
            Self::Glide => "Glide without power",
        }
    }

    /// The topic of a name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|t| t.name() == name)
    }
}

/// How hard an exercise is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Grade {
    /// One step.
    Easy,
    /// Two or three steps.
    Medium,
    /// Several steps, or a number that is not needed.
    Hard,
}

impl Grade {
    /// Every grade, the easiest first.
    pub const ALL: [Self; 3] = [Self::Easy, Self::Medium, Self::Hard];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Easy => "easy",
            Self::Medium => "medium",
            Self::Hard => "hard",
        }
    }

    /// The grade of a name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|g| g.name() == name)
    }
}

/// Whose rules of the air an exercise is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum RuleBook {
    /// 14 CFR part 91.
    Us,
    /// ICAO Annex 2, and SERA which has the same.
    Icao,
}

impl RuleBook {
    /// Every one.
    pub const ALL: [Self; 2] = [Self::Us, Self::Icao];

    /// Its short name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Us => "us",
            Self::Icao => "icao",
        }
    }

    /// The one of a name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|b| b.name() == name)
    }
}

/// One exercise with its answer. The answer follows from the numbers as they are printed and from nothing else.
#[derive(Debug, Clone, PartialEq)]
pub struct Exercise {
    /// Topic.
    pub topic: Topic,
    /// Grade.
    pub grade: Grade,
    /// Which question of the topic it is; the name does not change.
    pub kind: &'static str,
    /// What is given, as printed.
    pub given: Vec<Named>,
    /// What is found on the way, not rounded.
    pub worked: Vec<Named>,
    /// A table to read from.
    pub table: Option<Table>,
    /// The question; `{name}` stands for a number.
    pub question: &'static str,
    /// The way to the answer, step by step, in the same manner.
    pub steps: Vec<&'static str>,
    /// The answer, rounded as it is printed.
    pub answer: Number,
    /// An answer is right within this of [`Self::answer`].
    pub tolerance: f64,
    /// Why so much.
    pub because: &'static str,
    /// What the steps rest on.
    pub source: &'static str,
}

impl Exercise {
    /// A given or worked number by its name.
    pub fn number(&self, name: &str) -> Option<Number> {
        let all = self.given.iter().chain(&self.worked);
        all.clone().find(|n| n.name == name).map(|n| n.number)
    }

    /// Whether the student sees the same: question, numbers and table.
    pub fn same_as(&self, other: &Self) -> bool {
        self.kind == other.kind
            && self.question == other.question
            && self.given == other.given
            && self.table == other.table
    }

    /// Whether a value answers it: within the tolerance; a direction may be given a full turn off.
    pub fn accepts(&self, value: f64) -> bool {
        /// Decimal fractions are not exact.
        const NOISE: f64 = 1e-9;
        let off = (value - self.answer.value).abs();
        let off = if self.answer.unit == Unit::Direction {
            let turn = off.rem_euclid(360.0);
            turn.min(360.0 - turn)
        } else {
            off
        };
        // NaN is within nothing.
        off <= self.tolerance + NOISE
    }
}

/// An exercise being written.
pub(super) struct Draft {
    kind: &'static str,
    given: Vec<Named>,
    worked: Vec<Named>,
    table: Option<Table>,
}

/// How near an answer must come, in which unit, and why so near.
#[derive(Clone, Copy)]
pub(super) struct Near {
    unit: Unit,
    tolerance: f64,
    because: &'static str,
}

/// An answer is right within so much, for this reason.
pub(super) const fn within(tolerance: f64, unit: Unit, because: &'static str) -> Near {
    Near {
        unit,
        tolerance,
        because,
    }
}

/// What is printed of a volume of fuel.
pub(super) const TENTH_GAL: Near = within(
    0.1,
    Unit::Gallons,
    "a tenth of a gallon is one step of the printed figures",
);

/// The end of an exercise.
pub(super) struct Ending {
    pub question: &'static str,
    pub steps: Vec<&'static str>,
    pub answer: f64,
    pub near: Near,
    pub source: &'static str,
    /// The answer makes sense within these.
    pub sane: (f64, f64),
}

impl Draft {
    pub(super) fn new(kind: &'static str) -> Self {
        Self {
            kind,
            given: vec![],
            worked: vec![],
            table: None,
        }
    }

    /// Gives a number as it is printed.
    pub(super) fn given(&mut self, name: &'static str, value: f64, unit: Unit) -> f64 {
        let value = unit.rounded(value);
        self.given.push(Named {
            name,
            number: Number { value, unit },
        });
        value
    }

    /// Notes a number found on the way.
    pub(super) fn worked(&mut self, name: &'static str, value: f64, unit: Unit) -> f64 {
        self.worked.push(Named {
            name,
            number: Number { value, unit },
        });
        value
    }

    /// Gives a table; its numbers are rounded as they are printed. Gives it back so.
    pub(super) fn table(
        &mut self,
        caption: &'static str,
        columns: &[(&'static str, Unit)],
        rows: Vec<Vec<f64>>,
    ) -> Table {
        let printed = |row: Vec<f64>| -> Vec<f64> {
            row.into_iter()
                .zip(columns)
                .map(|(x, (_, unit))| unit.rounded(x))
                .collect()
        };
        let table = Table {
            caption,
            columns: columns.to_vec(),
            rows: rows.into_iter().map(printed).collect(),
        };
        self.table = Some(table.clone());
        table
    }

    /// Ends it. `None` if the answer makes no sense.
    pub(super) fn end(self, topic: Topic, grade: Grade, end: Ending) -> Option<Exercise> {
        let sane = end.answer >= end.sane.0 && end.answer <= end.sane.1;
        let numbers = self.given.iter().chain(&self.worked);
        let finite = numbers.clone().all(|n| n.number.value.is_finite());
        (sane && finite).then(|| Exercise {
            topic,
            grade,
            kind: self.kind,
            given: self.given,
            worked: self.worked,
            table: self.table,
            question: end.question,
            steps: end.steps,
            answer: Number {
                value: end.near.unit.rounded(end.answer),
                unit: end.near.unit,
            },
            tolerance: end.near.tolerance,
            because: end.near.because,
            source: end.source,
        })
    }
}
