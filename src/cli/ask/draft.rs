//! The options as typed to the draft of a trip file, with what stands for those that were not typed.

use super::{AskArgs, BasisWord, RulesWord};
use crate::cli::plan::Least;
use crate::cli::{Failure, profile};
use crate::files::grib2::is_grib;
use crate::files::report::looks_like_report;
use crate::files::trip_text::{
    Draft, DraftPlace, DraftPrices, MAX_ALTITUDE_FT, PERSON_LB, STANDARD_INHG, via_list,
};
use jiff::{Timestamp, ToSpan};
use std::path::{Path, PathBuf};

/// Start-up, when nobody says when, is the next multiple of this after now, min.
const START_UP_MIN: i64 = 5;

/// What stands in a draft for an option that was not typed.
pub(super) struct Fallback {
    profile: &'static str,
    from: &'static str,
    to: &'static str,
    winds: &'static str,
    fuel_gal: f64,
}

/// In a file to be filled in.
pub(super) const EXAMPLE: Fallback = Fallback {
    profile: "profile.toml",
    from: "KBNO",
    to: "KPIH",
    winds: "winds.txt",
    fuel_gal: 50.0,
};

/// The trip as typed, its paths put through `path`. Without `fallback` what cannot be guessed must have been typed.
pub(super) fn draft(
    args: &AskArgs,
    profile: Option<&Path>,
    least: Option<Least>,
    now: Timestamp,
    fallback: Option<&Fallback>,
    path: &dyn Fn(&Path) -> String,
) -> Result<Draft, Failure> {
    let missing = |flag: &str, what: &str| {
        Failure::input(format!("{flag} is missing: {what}")).hint(
            "a trip without a file needs at least --profile, --from, --to, --winds and --fuel; or give a trip file",
        )
    };
    let profile = match (profile, fallback) {
        (Some(p), _) => path(p),
        (None, Some(f)) => f.profile.to_owned(),
        (None, None) => return Err(missing("--profile", "the aircraft")),
    };
    let place = |typed: &Option<String>, flag: &str, what: &str, other: Option<&str>| match (
        typed, other,
    ) {
        (Some(p), _) => Ok(p.trim().to_owned()),
        (None, Some(other)) => Ok(other.to_owned()),
        (None, None) => Err(missing(flag, what)),
    };
    let mut route = Vec::new();
    if args.gpx_route.is_none() {
        let from = place(
            &args.from,
            "--from",
            "the departure",
            fallback.map(|f| f.from),
        )?;
        let to = place(&args.to, "--to", "the destination", fallback.map(|f| f.to))?;
        let via = args.via.iter().flat_map(|v| via_list(v));
        let at = |ident: String, elevation_ft: Option<f64>| DraftPlace {
            ident,
            elevation_ft,
        };
        route.push(at(from, args.from_elevation));
        route.extend(via.map(|v| at(v, None)));
        route.push(at(to, args.to_elevation));
    }
    let (grib, bulletins): (Vec<&PathBuf>, Vec<&PathBuf>) =
        args.winds.iter().partition(|file| is_grib(file));
    if let (Some(one), Some(other)) = (grib.first(), bulletins.first()) {
        return Err(Failure::input(format!(
            "--winds: {} is GRIB2, but {} is not",
            one.display(),
            other.display()
        ))
        .hint("give one kind of winds aloft: bulletins or GRIB2"));
    }
    let paths = |files: Vec<&PathBuf>| files.into_iter().map(|f| path(f)).collect::<Vec<_>>();
    let (grib, mut winds) = (paths(grib), paths(bulletins));
    if args.winds.is_empty() {
        let example = fallback.ok_or_else(|| missing("--winds", "the winds aloft"))?;
        winds.push(example.winds.to_owned());
    }
    let metar = args.metar.iter().map(|typed| {
        if looks_like_report(typed) {
            typed.clone()
        } else {
            path(Path::new(typed))
        }
    });
    let fuel_gal = match (args.fuel.as_deref().map(str::trim), fallback) {
        (Some("least"), _) => None,
        (Some(typed), _) => Some(
            typed
                .parse::<f64>()
                .ok()
                .filter(|g| g.is_finite())
                .ok_or_else(|| {
                    Failure::input(format!(
                        "--fuel {typed}: not a number of US gallons, nor least"
                    ))
                    .hint("give what is on board at start-up as 50, or least for the least that leaves the reserve")
                })?,
        ),
        (None, Some(f)) => Some(f.fuel_gal),
        (None, None) => return Err(missing("--fuel", "what is on board")),
    };
    let depart = match &args.depart {
        Some(typed) => typed.trim().parse::<Timestamp>().map_err(|e| {
            Failure::input(format!("--depart {typed}: not a time: {e}"))
                .hint("give the date and time in UTC, as 2026-01-31T16:00Z")
        })?,
        None => now,
    };
    let prices = match (args.hourly, args.fuel_price) {
        (Some(hourly), Some(fuel_per_gal)) => Some(DraftPrices {
            hourly: profile::checked("--hourly", "price", hourly)?,
            basis: match args.basis {
                Some(BasisWord::Clock) => "clock",
                Some(BasisWord::Airborne) | None => "airborne",
            },
            fuel_per_gal: profile::checked("--fuel-price", "price", fuel_per_gal)?,
        }),
        (None, None) if args.basis.is_none() => None,
        (hourly, fuel) => {
            let lacks = if hourly.is_none() {
                "--hourly"
            } else {
                "--fuel-price"
            };
            let given = if hourly.is_some() {
                "--hourly"
            } else if fuel.is_some() {
                "--fuel-price"
            } else {
                "--basis"
            };
            return Err(Failure::input(format!("{given} is given without {lacks}"))
                .hint("give both prices; one that does not matter may be 0"));
        }
    };
    let objective = match (least, prices) {
        (Some(Least::Money), None) => {
            return Err(Failure::input("--objective money without prices")
                .hint("give --hourly and --fuel-price, or --objective time or fuel"));
        }
        (Some(Least::Time), _) | (None, None) => "time",
        (Some(Least::Fuel), _) => "fuel",
        (Some(Least::Money) | None, Some(_)) => "money",
    };
    let altimeter_inhg = match args.altimeter[..] {
        [] if args.metar.is_empty() => Some([STANDARD_INHG; 2]),
        [] => None,
        [one] => Some([one; 2]),
        [a, b] => Some([a, b]),
        _ => {
            return Err(Failure::input(format!(
                "--altimeter has {} settings",
                args.altimeter.len()
            ))
            .hint("give one, or those of departure and destination as 30.12,30.05"));
        }
    };
    let legs = route.len().saturating_sub(1);
    let minimum_ft = match args.minimum_altitude[..] {
        [] => Vec::new(),
        [_] | [_, ..] if args.gpx_route.is_some() => {
            return Err(Failure::input("--minimum-altitude with --gpx-route")
                .hint("write the trip with fellrun new trip --gpx-route and give each leg its own in the file"));
        }
        [one] => vec![one; legs],
        ref each if each.len() == legs => each.to_vec(),
        ref each => {
            return Err(Failure::input(format!(
                "--minimum-altitude has {} altitudes, but the route {legs} leg(s)",
                each.len()
            ))
            .hint("give one for all legs, or one for each"));
        }
    };
    if args.mountainous && args.gpx_route.is_some() {
        return Err(Failure::input("--mountainous with --gpx-route").hint(
            "write the trip with fellrun new trip --gpx-route and say it of each leg in the file",
        ));
    }
    Ok(Draft {
        profile,
        depart,
        night: args.night,
        variation_deg: args.variation,
        places: args.places.iter().map(|p| path(p)).collect(),
        route,
        gpx: args.gpx_route.as_deref().map(path),
        alternate: args.alternate.clone(),
        ends_ft: [args.from_elevation, args.to_elevation],
        minimum_ft,
        mountainous_legs: if args.mountainous { legs } else { 0 },
        start: args.at_altitude.zip(args.at_ias),
        people_lb: args.people.unwrap_or(PERSON_LB),
        baggage_lb: args.baggage.unwrap_or(0.0),
        fuel_gal,
        prices,
        winds,
        grib,
        metar: metar.collect(),
        altimeter_inhg,
        terrain: args.terrain.as_deref().map(path),
        corridor_nm: args.corridor,
        keep_outs: args.keep_out.iter().map(|f| path(f)).collect(),
        objective,
        rules: args.rules.unwrap_or(RulesWord::UsVfr).word(),
        max_altitude_ft: args.max_altitude.unwrap_or(if args.oxygen {
            MAX_ALTITUDE_FT.1
        } else {
            MAX_ALTITUDE_FT.0
        }),
        oxygen: args.oxygen,
        reserve_min: args.reserve,
        pattern_altitude_ft: args.pattern_altitude,
    })
}

/// Now, or the next multiple of five minutes after it.
pub(super) fn start_up(under_way: bool) -> Timestamp {
    let now = Timestamp::now();
    let past = now.as_second().rem_euclid(60 * START_UP_MIN);
    let wait = if under_way || past == 0 {
        0
    } else {
        60 * START_UP_MIN - past
    };
    let whole = Timestamp::from_second(now.as_second()).unwrap_or(now);
    whole.checked_add(wait.seconds()).unwrap_or(now)
}

/// What was taken for granted.
pub(super) fn granted(args: &AskArgs, draft: &Draft) -> Option<String> {
    let mut words = Vec::new();
    let mut say = |typed: bool, what: String| {
        if !typed {
            words.push(what);
        }
    };
    say(args.depart.is_some(), format!("start-up {}", draft.depart));
    say(
        args.people.is_some(),
        format!("one person of {PERSON_LB:.0} lb"),
    );
    say(args.baggage.is_some(), "no baggage".to_owned());
    say(
        draft.altimeter_inhg != Some([STANDARD_INHG; 2]) || !args.altimeter.is_empty(),
        format!("altimeter {STANDARD_INHG} inHg"),
    );
    say(args.rules.is_some(), format!("rules {}", draft.rules));
    say(
        args.max_altitude.is_some(),
        format!("at most {:.0} ft", draft.max_altitude_ft),
    );
    say(
        args.pattern_altitude.is_some(),
        "pattern 1,000 ft above the field".to_owned(),
    );
    say(
        draft.prices.is_some() || draft.objective != "time",
        "least time, since no prices".to_owned(),
    );
    (!words.is_empty())
        .then(|| format!("Taken for granted, since not typed: {}.", words.join(", ")))
}
