//! A trip written out: the commented file that `fellrun new trip` begins with, and the very text that a trip typed as options is
//! read from, so that both go through the one reader.

use jiff::Timestamp;

use super::airports;

/// One person, when nobody says how many, lb: the summer average of an adult in FAA AC 120-27E (from memory).
pub const PERSON_LB: f64 = 190.0;
/// Altimeter setting of the standard atmosphere, inHg.
pub const STANDARD_INHG: f64 = 29.92;
/// Greatest altitude without and with oxygen, ft: 14 CFR 91.211(a)(1), and below class A airspace (91.135).
pub const MAX_ALTITUDE_FT: (f64, f64) = (12_500.0, 17_500.0);

/// A place of the route.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DraftPlace {
    /// Identifier, or a position.
    pub ident: String,
    /// Elevation, ft, where another than the known one is meant.
    pub elevation_ft: Option<f64>,
}

/// What an hour is paid by, in a draft.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DraftPrices {
    /// An hour.
    pub hourly: f64,
    /// The word of the key `basis`: clock or airborne.
    pub basis: &'static str,
    /// A gallon.
    pub fuel_per_gal: f64,
}

/// A trip in the units and words of its file. What is `None` or empty is left to the defaults of the file, and stands there as a
/// comment.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// Path of the aircraft profile.
    pub profile: String,
    /// Start-up, or now where the flight is under way.
    pub depart: Timestamp,
    /// At night.
    pub night: bool,
    /// Magnetic variation, deg, east positive.
    pub variation_deg: Option<f64>,
    /// Files of places.
    pub places: Vec<String>,
    /// Route, at least two; none where a GPX file gives it.
    pub route: Vec<DraftPlace>,
    /// GPX file the route is taken from.
    pub gpx: Option<String>,
    /// Alternate.
    pub alternate: Option<String>,
    /// Elevations of the ends of a GPX route, ft.
    pub ends_ft: [Option<f64>; 2],
    /// Minimum altitudes, ft: one for each leg, or none.
    pub minimum_ft: Vec<f64>,
    /// Number of legs, each mountainous; zero where the legs are left out.
    pub mountainous_legs: usize,
    /// Indicated altitude, ft, and airspeed, kt, of a flight that is under way.
    pub start: Option<(f64, f64)>,
    /// People, lb.
    pub people_lb: f64,
    /// Baggage, lb.
    pub baggage_lb: f64,
    /// Fuel on board, gal; `None` for the least.
    pub fuel_gal: Option<f64>,
    /// Prices.
    pub prices: Option<DraftPrices>,
    /// Bulletins.
    pub winds: Vec<String>,
    /// GRIB2 files, in their place.
    pub grib: Vec<String>,
    /// Files of weather reports, or reports.
    pub metar: Vec<String>,
    /// Altimeter settings at departure and destination, inHg; those of the reports where there is none.
    pub altimeter_inhg: Option<[f64; 2]>,
    /// Folder of terrain tiles.
    pub terrain: Option<String>,
    /// Half-width of the corridor whose ground counts, nm.
    pub corridor_nm: Option<f64>,
    /// Files of keep-out volumes.
    pub keep_outs: Vec<String>,
    /// The word of the key `objective.kind`.
    pub objective: &'static str,
    /// The word of the key `limits.rules`.
    pub rules: &'static str,
    /// Greatest altitude, ft.
    pub max_altitude_ft: f64,
    /// Oxygen is on board.
    pub oxygen: bool,
    /// Reserve, min.
    pub reserve_min: Option<f64>,
    /// Pattern altitude, ft.
    pub pattern_altitude_ft: Option<f64>,
}

/// Text in quotation marks as TOML has them.
fn text(s: &str) -> String {
    toml::Value::String(s.to_owned()).to_string()
}

fn list(files: &[String]) -> String {
    let all: Vec<String> = files.iter().map(|f| text(f)).collect();
    format!("[{}]", all.join(", "))
}

/// A number as a person types it.
fn number(x: f64) -> String {
    if x.fract() == 0.0 && x.abs() < 1e9 {
        format!("{x:.0}")
    } else {
        toml::Value::Float(x).to_string()
    }
}

/// A file being written: keys with a remark each, those left out as comments.
struct Page(String);

impl Page {
    fn line(&mut self, line: &str) {
        self.0.push_str(line);
        self.0.push('\n');
    }

    fn key(&mut self, key: &str, value: &str, remark: &str) {
        let set = format!("{key} = {value}");
        let line = if remark.is_empty() {
            set
        } else {
            format!("{set:<34} # {remark}")
        };
        self.line(&line);
    }

    /// The value, or as a comment what could stand there.
    fn maybe(&mut self, key: &str, value: Option<String>, example: &str, remark: &str) {
        match value {
            Some(value) => self.key(key, &value, remark),
            None => self.key(&format!("# {key}"), example, remark),
        }
    }
}

impl Draft {
    /// The first and the last place as a title.
    fn title(&self) -> String {
        let name = |ident: &str| match airports::find(ident) {
            Some(airport) => airport.name.trim_end_matches(" Airport").to_owned(),
            None => ident.to_owned(),
        };
        match (&self.gpx, self.route.as_slice()) {
            (None, [from, .., to]) => format!("{} to {}", name(&from.ident), name(&to.ident)),
            (Some(gpx), _) => format!("Route of {gpx}"),
            _ => "Trip".to_owned(),
        }
    }

    /// The trip as the text of a trip file.
    pub fn text(&self) -> String {
        let some = |x: Option<f64>| x.map(number);
        let yes = |x: bool| x.then(|| "true".to_owned());
        let mut p = Page(String::new());
        p.line("# A trip for `fellrun plan`. Paths start from the folder of this file. The unit of a number is the ending of its key.");
        p.line("# A line that begins with # is a remark; a key in a remark shows what could stand there.");
        p.key("title", &text(&self.title()), "");
        p.key("profile", &text(&self.profile), "the aircraft");
        p.key("departure_utc", &self.depart.to_string(), "start-up, UTC");
        p.maybe("night", yes(self.night), "true", "");
        p.maybe(
            "variation_deg",
            some(self.variation_deg),
            "14",
            "east positive; else that of the magnetic model",
        );
        let own = (!self.places.is_empty()).then(|| list(&self.places));
        p.maybe(
            "places",
            own,
            "[\"my-places.csv\"]",
            "your own: ident,lat,lon,elevation_ft,name; or GPX",
        );
        p.line("");
        let off = if self.start.is_some() { "" } else { "# " };
        p.line(&format!("{off}[start]  # a flight under way: the first place is where you are, departure_utc is now"));
        p.maybe(
            "altitude_ft",
            some(self.start.map(|s| s.0)),
            "9500",
            "indicated",
        );
        p.maybe("ias_kt", some(self.start.map(|s| s.1)), "140", "");
        p.line("");
        self.route(&mut p);
        let off = if self.alternate.is_some() { "" } else { "# " };
        p.line(&format!(
            "{off}[alternate]  # the fuel to go on to it is kept besides the reserve"
        ));
        p.maybe(
            "ident",
            self.alternate.as_deref().map(text),
            "\"KTWF\"",
            "as for a place",
        );
        p.key(
            "# minimum_altitude_ft",
            "7500",
            "least cruise altitude, from a chart",
        );
        p.line("");
        p.line("# The ground: tiles in a folder, or one [[leg]] for each two places that follow each other, or both: the higher counts.");
        p.line("# Without it the plan is held off the ground by nothing but the least cruise altitude. Look it up on a current chart.");
        let off = if self.terrain.is_some() { "" } else { "# " };
        p.line(&format!(
            "{off}[terrain]  # SRTM tiles, files like N43W116.hgt"
        ));
        p.maybe("folder", self.terrain.as_deref().map(text), "\"tiles\"", "");
        p.maybe(
            "corridor_nm",
            some(self.corridor_nm),
            "4",
            "half-width of the strip whose highest ground counts",
        );
        let legs = self.minimum_ft.len().max(self.mountainous_legs);
        for i in 0..legs {
            p.line("[[leg]]");
            p.maybe(
                "minimum_altitude_ft",
                some(self.minimum_ft.get(i).copied()),
                "9000",
                "least cruise altitude",
            );
            p.key(
                "mountainous",
                if i < self.mountainous_legs {
                    "true"
                } else {
                    "false"
                },
                "",
            );
            p.key(
                "source",
                &text("as typed by the pilot"),
                "where these come from",
            );
        }
        if legs == 0 {
            p.line("# [[leg]]");
            p.key("# minimum_altitude_ft", "9000", "least cruise altitude");
            p.key("# mountainous", "false", "");
            p.key(
                "# ground",
                "[{ to_nm = 20, ground_ft = 6400 }]",
                "highest up to each distance from the start of the leg",
            );
            p.key("# source", "\"...\"", "where these come from");
        }
        p.line("\n[load]");
        p.key("people_lb", &number(self.people_lb), "");
        p.key("baggage_lb", &number(self.baggage_lb), "");
        p.line("\n[fuel]");
        let fuel = some(self.fuel_gal).unwrap_or_else(|| "\"least\"".to_owned());
        p.key(
            "on_board_gal",
            &fuel,
            "or \"least\": the least that leaves the reserve",
        );
        p.line("");
        let off = if self.prices.is_some() { "" } else { "# " };
        p.line(&format!(
            "{off}[prices]  # in your own money; needed where the objective is money"
        ));
        p.maybe(
            "hourly",
            some(self.prices.map(|x| x.hourly)),
            "120",
            "without fuel",
        );
        p.maybe(
            "basis",
            self.prices.map(|x| text(x.basis)),
            "\"airborne\"",
            "clock, airborne, or tachometer with tach_reference_rpm",
        );
        p.maybe(
            "fuel_per_gal",
            some(self.prices.map(|x| x.fuel_per_gal)),
            "6.5",
            "",
        );
        p.line("\n[weather]");
        let some_list = |files: &[String]| (!files.is_empty()).then(|| list(files));
        let only = "instead of the others";
        if self.grib.is_empty() {
            p.key(
                "bulletins",
                &list(&self.winds),
                "winds aloft, of several times if you have them",
            );
            p.key("# grib", "[\"winds.grib2\"]", only);
        } else {
            p.key("# bulletins", "[\"winds.txt\"]", only);
            p.key(
                "grib",
                &list(&self.grib),
                "GRIB2: wind, temperature and height by pressure",
            );
        }
        p.maybe(
            "metar",
            some_list(&self.metar),
            "[\"metar.txt\"]",
            "weather reports: files, or the text of each",
        );
        let altimeter = self.altimeter_inhg.map(|both| {
            let [a, b] = both.map(number);
            if a == b {
                a
            } else {
                format!("{{ departure = {a}, destination = {b} }}")
            }
        });
        p.maybe(
            "altimeter_inhg",
            altimeter,
            "29.92",
            "or { departure = 30.12, destination = 30.05 }; else the reports'",
        );
        p.line("# [[weather.aloft]]  # winds by hand instead of files, a column at each place");
        p.key("# place", "\"KBNO\"", "or lat and lon");
        p.key(
            "# levels",
            "[{ altitude_ft = 6000, wind_from_deg = 240, wind_kt = 20, temperature_c = 5 }]",
            "true",
        );
        p.line("# [[weather.surface]]  # what is seen at a field, as many as there are");
        p.key("# place", "\"KBNO\"", "its ident");
        p.key("# wind_from_deg", "200", "true");
        p.key("# wind_kt", "6", "");
        p.key("# temperature_c", "-2", "");
        p.line("# [[weather.cloud]]  # a layer, kept clear of; as many as there are");
        p.key("# base_ft", "14000", "as the altimeter shows it");
        p.key("# top_ft", "16000", "");
        p.key(
            "# from_nm",
            "100",
            "along the route; the whole route, if not given",
        );
        p.key("# to_nm", "200", "");
        p.line("\n[objective]");
        p.key("kind", &text(self.objective), "time, fuel or money");
        p.line("\n[limits]");
        p.key(
            "rules",
            &text(self.rules),
            "us-vfr, us-ifr, icao-vfr, icao-ifr, none",
        );
        p.key("max_altitude_ft", &number(self.max_altitude_ft), "");
        p.maybe(
            "oxygen",
            yes(self.oxygen),
            "true",
            "on board, and will be used",
        );
        p.maybe(
            "reserve_min",
            some(self.reserve_min),
            "45",
            "45 by day and 60 at night, if not given",
        );
        p.key(
            "# clearance_ft",
            "1000",
            "over ground; mountain_clearance_ft 2000",
        );
        p.key("# max_descent_fpm", "500", "for ears");
        p.maybe(
            "keep_outs",
            some_list(&self.keep_outs),
            "[\"keep-out.geojson\"]",
            "volumes: name, lower_ft, upper_ft of each",
        );
        p.line("# [[limits.air]]  # how rough the air is, lowest first: smooth, light, rough; light if not given");
        p.key("# up_to_ft", "7000", "");
        p.key("# air", "\"rough\"", "");
        p.line("\n[arrival]");
        p.maybe(
            "pattern_altitude_ft",
            some(self.pattern_altitude_ft),
            "5500",
            "1,000 ft above the field, if not given",
        );
        p.key(
            "# before_nm",
            "5",
            "where pattern altitude and speed are reached, before the field",
        );
        p.key("# circuit_min", "3", "");
        p.0
    }

    fn route(&self, p: &mut Page) {
        if let Some(gpx) = &self.gpx {
            p.line("[route]  # instead of [[place]] rows");
            p.key(
                "gpx",
                &text(gpx),
                "its route, or its track thinned to turning points",
            );
            for (key, ft) in ["departure_elevation_ft", "destination_elevation_ft"]
                .iter()
                .zip(self.ends_ft)
            {
                p.maybe(
                    key,
                    ft.map(number),
                    "4150",
                    "else that of the field there in the built-in table",
                );
            }
            p.line("");
            return;
        }
        p.line("# The route in order. A field of the built-in table, or of your own places, needs its identifier alone, and what you");
        p.line("# give besides wins: the table's elevations are often wrong. An identifier may be a position, like \"43-08.5N 115-43.8W\".");
        for place in &self.route {
            p.line("[[place]]");
            p.key("ident", &text(&place.ident), "");
            p.maybe("elevation_ft", place.elevation_ft.map(number), "4150", "");
            p.line("");
        }
    }
}

/// Parts of the list of a route typed with commas: an identifier each; two plain numbers that follow each other are one position.
pub fn via_list(typed: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    let mut latitude: Option<&str> = None;
    for part in typed.split(',').map(str::trim) {
        let plain = part.parse::<f64>().is_ok();
        match latitude.take() {
            Some(lat) if plain => out.push(format!("{lat},{part}")),
            before => {
                out.extend(before.map(str::to_owned));
                if plain {
                    latitude = Some(part);
                } else if !part.is_empty() {
                    out.push(part.to_owned());
                }
            }
        }
    }
    out.extend(latitude.map(str::to_owned));
    out
}
