//! Speed of the main job and its parts, to be read as ratios within one run: `cargo bench`.

use criterion::{Criterion, criterion_group, criterion_main};
use fellrun::aircraft::propeller::{Nearby, PropellerGeometry, PropellerTable};
use fellrun::aircraft::{Levers, Throttle};
use fellrun::files::climate::shipped_climate;
use fellrun::files::season_winds::drawn_winds;
use fellrun::files::trip::{TripFile, load_trip, parse_trip};
use fellrun::quantity::{M_PER_FT, M_PER_NM, M_S_PER_FPM};
use fellrun::reflight::refly;
use fellrun::solve::{
    Charges, CruiseAsk, SeasonTrip, SpreadAsk, Usual, best_of, cruise_of, frontier, plan, room_m,
    season_flights, spread, study,
};
use fellrun::trip::{DescentAsk, ForecastError, Problem, Roughness, resolve};
use std::cell::Cell;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/first-trip.toml")
}

/// The demo trip at the time of a GRIB2 file, with one or two hours of it; the second is the first with another hour written in.
fn load_grid(hours: usize) -> TripFile {
    static FOLDER: OnceLock<tempfile::TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let from = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/data/grib/gfs_2p5deg_20111008T00Z_f072_small_T_GH_UV.grib2");
        let mut bytes = std::fs::read(from).expect("reads");
        std::fs::write(folder.path().join("0.grib2"), &bytes).expect("writes");
        for i in 0..bytes.len() - 34 {
            if bytes[i..i + 9] == [0, 0, 0, 34, 4, 0, 0, 0, 0]
                && bytes[i + 17..i + 22] == [1, 0, 0, 0, 72]
            {
                bytes[i + 21] = 75;
            }
        }
        std::fs::write(folder.path().join("1.grib2"), &bytes).expect("writes");
        folder
    });
    let files: Vec<String> = (0..hours)
        .map(|i| format!("{:?}", folder.path().join(format!("{i}.grib2"))))
        .collect();
    let text = std::fs::read_to_string(demo())
        .expect("reads")
        .replace("2026-01-31T16:00:00Z", "2011-10-11T01:00:00Z")
        .replace(
            "bulletins = [\"weather/FBUS33_FD3US3_2026-01-31_310158Z.txt\"]",
            &format!("grib = [{}]", files.join(", ")),
        );
    parse_trip(&text, &demo(), None).expect("the demo trip loads")
}

fn problem() -> Problem {
    let file = load_trip(&demo(), None).expect("the demo trip loads");
    resolve(&file.trip, file.aircraft).expect("the demo trip resolves")
}

fn parts(c: &mut Criterion) {
    let p = problem();
    let answer = plan(&p).expect("the demo trip has a plan");
    c.bench_function("load trip, profile and bulletin", |b| {
        b.iter(|| load_trip(black_box(&demo()), None).expect("loads"));
    });
    c.bench_function("load trip, profile and one GRIB2 forecast", |b| {
        b.iter(|| load_grid(1));
    });
    c.bench_function("load trip, profile and two GRIB2 forecasts", |b| {
        b.iter(|| load_grid(2));
    });
    let grid = load_grid(2);
    c.bench_function("make a trip on two GRIB2 forecasts definite", |b| {
        b.iter(|| resolve(&grid.trip, grid.aircraft.clone()).expect("resolves"));
    });
    let file = load_trip(&demo(), None).expect("the demo trip loads");
    c.bench_function("make the trip definite", |b| {
        b.iter(|| resolve(&file.trip, file.aircraft.clone()).expect("resolves"));
    });
    let geometry = PropellerGeometry::standard(1.88, 2, 1.0).expect("a propeller");
    c.bench_function("propeller table", |b| {
        b.iter(|| PropellerTable::build(black_box(&geometry), 0.2, 0.6).expect("builds"));
    });
    let (air, _) = p.air_state(0.5 * p.length_m, 3_000.0, 0.0);
    let levers = Levers {
        throttle: Throttle::Map(68_000.0),
        rev_s: 40.0,
        mixture: 1,
    };
    c.bench_function("one flight condition", |b| {
        b.iter(|| p.aircraft.perform(air, black_box(70.0), levers));
    });
    let propeller = &p.aircraft.propeller;
    let load = propeller.table.forces(
        air.density_kg_m3,
        70.0,
        40.0,
        0.5 * (propeller.stops.low_rad + propeller.stops.high_rad),
        air.sound_m_s,
    );
    c.bench_function("one governed blade angle", |b| {
        b.iter(|| {
            propeller.table.absorb(
                air.density_kg_m3,
                black_box(70.0),
                40.0,
                load.torque_n_m,
                air.sound_m_s,
                propeller.stops,
                &Cell::new(Nearby::NONE),
            )
        });
    });
    c.bench_function("air at one point of the route", |b| {
        b.iter(|| {
            p.air.at(
                black_box(0.3 * p.length_m),
                black_box(2_500.0),
                black_box(0.0),
            )
        });
    });
    c.bench_function("air for flying at one point", |b| {
        b.iter(|| {
            p.air_state(
                black_box(0.3 * p.length_m),
                black_box(2_500.0),
                black_box(0.0),
            )
        });
    });
    c.bench_function("one flight of the search", |b| {
        b.iter(|| {
            fellrun::flight::fly(
                &p,
                black_box(&answer.flown.script),
                None,
                &Default::default(),
            )
            .expect("flies")
        });
    });
    c.bench_function("re-flight", |b| {
        b.iter(|| refly(&p, &answer.flown.script).expect("flies"))
    });
}

fn whole(c: &mut Criterion) {
    let p = problem();
    let mut group = c.benchmark_group("whole");
    group.sample_size(10);
    group.bench_function("plan", |b| b.iter(|| plan(black_box(&p)).expect("a plan")));
    for threads in [1, 2] {
        group.bench_function(format!("frontier, {threads} thread(s)"), |b| {
            b.iter(|| frontier(black_box(&p), threads).expect("plans"));
        });
    }
    let answer = plan(&p).expect("the demo trip has a plan");
    let ask = SpreadAsk {
        error: ForecastError::USUAL,
        samples: 1_000,
        seed: 1,
    };
    group.bench_function("spread, 1,000 samples on 2 threads", |b| {
        b.iter(|| spread(black_box(&p), &answer, ask, 2));
    });
    group.finish();
}

/// The descent study of the demo aircraft from 9,500 ft, and a map.
fn descents(c: &mut Criterion) {
    let aircraft = problem().aircraft;
    let mut ask = DescentAsk {
        cruise_m: 9_500.0 * M_PER_FT,
        distance_m: 0.0,
        along_m_s: 0.0,
        isa_deviation_k: 0.0,
        air: Roughness::Light,
        field_m: 0.0,
        pattern_m: 1_000.0 * M_PER_FT,
        before_m: 5.0 * M_PER_NM,
        mass_kg: aircraft.masses.max_take_off_kg,
        max_descent_m_s: 500.0 * M_S_PER_FPM,
        least_map_pa: None,
        per_s: 120.0 / 3_600.0,
        fuel_per_kg: 2.4,
    };
    ask.distance_m = room_m(&ask, &aircraft);
    let setting = CruiseAsk::default();
    let mut group = c.benchmark_group("descents");
    group.sample_size(10);
    group.bench_function("study with its cruise", |b| {
        b.iter(|| {
            let (p, script) = cruise_of(black_box(&ask), &aircraft, setting).expect("cruises");
            study(&p, &script).expect("a study")
        });
    });
    group.bench_function("one cell of a map", |b| {
        b.iter(|| {
            let (p, script) = cruise_of(black_box(&ask), &aircraft, setting).expect("cruises");
            best_of(&p, &script).expect("flies")
        });
    });
    group.finish();
}

fn season(c: &mut Criterion) {
    let file = load_trip(&demo(), None).expect("the demo trip loads");
    let climate = shipped_climate().expect("in order");
    let wind = drawn_winds(&climate, 1, 1).remove(0);
    let field = wind.over(&file.trip).expect("a field");
    let trip = SeasonTrip {
        charges: Charges {
            prices: file.trip.prices,
            overhaul_per_rev: 0.0,
            own_time_per_s: 0.0,
        },
        trip: file.trip,
        aircraft: file.aircraft,
    };
    let way = Usual {
        power_fraction: 0.65,
        rev_s: 40.0,
        mixture: None,
        level_m: 7_500.0 * M_PER_FT,
        climb_m_s: None,
        descent_m_s: 500.0 * M_S_PER_FPM,
    };
    let mut group = c.benchmark_group("season");
    group.sample_size(10);
    group.bench_function("a trip in a wind by four policies", |b| {
        b.iter(|| season_flights(black_box(&trip), field.clone(), &way).expect("flies"));
    });
    group.finish();
}

criterion_group!(benches, parts, whole, descents, season);
criterion_main!(benches);
