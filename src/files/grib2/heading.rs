//! What a field is: its kind, surface and times.

use grib::SubMessage;
use jiff::tz::TimeZone;
use jiff::{Timestamp, civil};

/// What a field is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    East,
    North,
    Temperature,
    Height,
    Geopotential,
    GroundHeight,
    GroundPressure,
}

impl Kind {
    pub(super) fn words(self) -> &'static str {
        match self {
            Self::East => "wind to the east",
            Self::North => "wind to the north",
            Self::Temperature => "temperature",
            Self::Height => "height",
            Self::Geopotential => "geopotential",
            Self::GroundHeight => "height of the ground",
            Self::GroundPressure => "pressure at the ground",
        }
    }
}

/// A field as its headings have it.
pub(super) struct Heading {
    pub(super) kind: Kind,
    /// Pressure of its surface (Pa); zero at the ground.
    pub(super) pressure_pa: f64,
    pub(super) valid: Timestamp,
    pub(super) run: Timestamp,
    /// The grid as coded: fields of the same code are on the same points.
    pub(super) grid: Vec<u8>,
}

impl Heading {
    /// What the field is of, and where.
    pub(super) fn words(&self) -> String {
        let of = self.kind.words();
        if self.pressure_pa > 0.0 {
            format!("{of} at {:.0} hPa", self.pressure_pa / 100.0)
        } else {
            of.to_owned()
        }
    }

    /// Its pressure in tenths of a pascal.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a pressure in tenths of a pascal"
    )]
    pub(super) fn tenths(&self) -> u64 {
        (self.pressure_pa * 10.0).round() as u64
    }
}

/// The moment a field is for and that of the run: reference time, and forecast time in the units of code table 4.4.
fn times<R>(message: &SubMessage<'_, R>) -> Option<(Timestamp, Timestamp)> {
    let raw = message.temporal_raw_info();
    let t = raw.ref_time_unchecked;
    let date = civil::Date::new(
        i16::try_from(t.year).ok()?,
        i8::try_from(t.month).ok()?,
        i8::try_from(t.day).ok()?,
    )
    .ok()?;
    let clock = civil::Time::new(
        i8::try_from(t.hour).ok()?,
        i8::try_from(t.minute).ok()?,
        i8::try_from(t.second.min(59)).ok()?,
        0,
    )
    .ok()?;
    let run = TimeZone::UTC.to_timestamp(date.to_datetime(clock)).ok()?;
    let payload: Vec<u8> = message.prod_def().iter().copied().collect();
    // Octets 18 and 19-22 of the section: after its 5 of heading, 13 on.
    let unit_s: i64 = match payload.get(12)? {
        0 => 60,
        1 => 3_600,
        2 => 86_400,
        10 => 3 * 3_600,
        11 => 6 * 3_600,
        12 => 12 * 3_600,
        13 => 1,
        _ => return None,
    };
    let count: [u8; 4] = payload.get(13..17)?.try_into().ok()?;
    // sign and magnitude, as everywhere in GRIB2: an analysis may lie before the reference time
    let count = u32::from_be_bytes(count);
    let steps = i64::from(count & 0x7fff_ffff) * if count >> 31 == 1 { -1 } else { 1 };
    let ahead = jiff::SignedDuration::from_secs(steps.checked_mul(unit_s)?);
    // Code table 1.2: 2 says that the reference time is already the one the forecast is for.
    let valid = if message.identification().ref_time_significance() == 2 {
        run
    } else {
        run.checked_add(ahead).ok()?
    };
    Some((valid, run))
}

/// The headings of a field that is read here.
pub(super) fn heading<R>(message: &SubMessage<'_, R>) -> Option<Heading> {
    let product = message.prod_def();
    if message.indicator().discipline != 0 || product.prod_tmpl_num() > 2 {
        return None;
    }
    let (surface, _) = product.fixed_surfaces()?;
    let number = (product.parameter_category()?, product.parameter_number()?);
    let kind = match (surface.surface_type, number) {
        (100, (2, 2)) => Kind::East,
        (100, (2, 3)) => Kind::North,
        (100, (0, 0)) => Kind::Temperature,
        (100, (3, 5)) => Kind::Height,
        (100, (3, 4)) => Kind::Geopotential,
        (1, (3, 5)) => Kind::GroundHeight,
        (1, (3, 0)) => Kind::GroundPressure,
        _ => return None,
    };
    let pressure_pa = if surface.surface_type == 100 {
        surface.value()
    } else {
        0.0
    };
    let pressed = surface.surface_type != 100 || pressure_pa > 0.0;
    let (valid, run) = times(message)?;
    pressed.then(|| Heading {
        kind,
        pressure_pa,
        valid,
        run,
        grid: message.grid_def().iter().copied().collect(),
    })
}
