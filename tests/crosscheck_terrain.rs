//! Ground near a leg: real ground against a search over all its cells, and made ground whose answer is plain.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use fellrun::earth::geodesic::{self, Leg};
use fellrun::earth::place::Position;
use fellrun::earth::terrain::{Heights, Posts, Tile, VOID, corridor};
use fellrun::files::diagnostic::FileError;
use fellrun::files::hgt::Folder;
use fellrun::files::trip::{load_trip, parse_trip};
use fellrun::quantity::{M_PER_FT, M_PER_NM};
use fellrun::trip::{Note, resolve};

/// Posts along a side of a tile of 3 seconds of arc.
const SIDE: usize = 1_201;
/// The piece of real ground: rows, columns, and where its first post stands in the tile N36W085 (tests/data/terrain/SOURCE.md).
const PIECE: (usize, usize, usize, usize) = (344, 403, 321, 704);
/// Distances on the plane beside a stretch and on the ellipsoid, within a few miles: metres.
const NEAR_M: f64 = 10.0;
/// A step between posts north and south, m: one degree of latitude is at most 111.7 km.
const POST_M: f64 = 111_700.0 / 1_200.0;

fn place(lat: f64, lon: f64) -> Position {
    Position::new(lat, lon).expect("a place")
}

/// Heights of the piece, by row and column of the tile.
fn piece() -> BTreeMap<(usize, usize), i16> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/terrain/jacksboro_srtm3_344x403_i16be.bin");
    let bytes = std::fs::read(path).expect("the piece of ground");
    let (rows, columns, top, left) = PIECE;
    assert_eq!(bytes.len(), 2 * rows * columns);
    let height = |i: usize| i16::from_be_bytes([bytes[2 * i], bytes[2 * i + 1]]);
    (0..rows * columns)
        .map(|i| ((top + i / columns, left + i % columns), height(i)))
        .collect()
}

/// The piece as a tile in a folder of its own, no height anywhere else.
fn folder_of_the_piece() -> tempfile::TempDir {
    let piece = piece();
    let mut bytes = Vec::with_capacity(2 * SIDE * SIDE);
    for row in 0..SIDE {
        for column in 0..SIDE {
            let height = piece.get(&(row, column)).copied().unwrap_or(VOID);
            bytes.extend(height.to_be_bytes());
        }
    }
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("N36W085.hgt"), bytes).expect("written");
    std::fs::write(folder.path().join("README.txt"), "no tile").expect("written");
    folder
}

/// Distance on the ellipsoid, m: T. Vincenty, Survey Review 23 (1975), inverse formula, which the crate has no part of.
fn vincenty_m(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (axis, f) = (6_378_137.0, 1.0 / 298.257_223_563);
    let minor = axis * (1.0 - f);
    let reduced = |lat: f64| ((1.0 - f) * lat.to_radians().tan()).atan();
    let (u1, u2) = (reduced(a.0), reduced(b.0));
    let l = (b.1 - a.1).to_radians();
    let mut lambda = l;
    for _ in 0..100 {
        let (x, y) = (
            u2.cos() * lambda.sin(),
            u1.cos() * u2.sin() - u1.sin() * u2.cos() * lambda.cos(),
        );
        let sin_sigma = x.hypot(y);
        if sin_sigma == 0.0 {
            return 0.0;
        }
        let cos_sigma = u1.sin() * u2.sin() + u1.cos() * u2.cos() * lambda.cos();
        let sigma = sin_sigma.atan2(cos_sigma);
        let sin_alpha = u1.cos() * u2.cos() * lambda.sin() / sin_sigma;
        let cos2 = 1.0 - sin_alpha * sin_alpha;
        let cos_2m = if cos2 == 0.0 {
            0.0
        } else {
            cos_sigma - 2.0 * u1.sin() * u2.sin() / cos2
        };
        let c = f / 16.0 * cos2 * (4.0 + f * (4.0 - 3.0 * cos2));
        let inner = cos_2m + c * cos_sigma * (2.0 * cos_2m * cos_2m - 1.0);
        let next = l + (1.0 - c) * f * sin_alpha * (sigma + c * sin_sigma * inner);
        if (next - lambda).abs() < 1e-13 {
            let q = cos2 * (axis * axis - minor * minor) / (minor * minor);
            let k = q / 1024.0 * (256.0 + q * (-128.0 + q * (74.0 - 47.0 * q)));
            let big = 1.0 + q / 16_384.0 * (4_096.0 + q * (-768.0 + q * (320.0 - 175.0 * q)));
            let d = k
                * sin_sigma
                * (cos_2m
                    + k / 4.0
                        * (cos_sigma * (2.0 * cos_2m * cos_2m - 1.0)
                            - k / 6.0
                                * cos_2m
                                * (4.0 * sin_sigma * sin_sigma - 3.0)
                                * (4.0 * cos_2m * cos_2m - 3.0)));
            return minor * big * (sigma - d);
        }
        lambda = next;
    }
    f64::NAN
}

/// Least distance \[m\] of a place from a stretch, given by points along it close enough to be joined by straight lines in degrees.
fn from_stretch_m(at: (f64, f64), points: &[(f64, f64)]) -> f64 {
    let last = (points.len() - 1) as f64;
    let there = |x: f64| {
        let i = (x.floor() as usize).min(points.len() - 2);
        let t = x - i as f64;
        let (a, b) = (points[i], points[i + 1]);
        (a.0 + t * (b.0 - a.0), a.1 + t * (b.1 - a.1))
    };
    let (mut lo, mut hi) = (0.0, last);
    while hi - lo > 1e-3 {
        let (u, v) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
        if vincenty_m(at, there(u)) < vincenty_m(at, there(v)) {
            hi = v;
        } else {
            lo = u;
        }
    }
    vincenty_m(at, there(0.5 * (lo + hi)))
}

#[test]
fn crosscheck_highest_real_ground_near_a_leg_over_all_cells() {
    let (folder, piece) = (folder_of_the_piece(), piece());
    let leg = Leg::new(place(36.50, -84.36), place(36.68, -84.13)).expect("a leg");
    for half_width_m in [0.5 * M_PER_NM, 2.0 * M_PER_NM] {
        let mut heights = Folder::new(folder.path()).expect("a folder of tiles");
        let found = corridor(&leg, half_width_m, M_PER_NM, &mut heights).expect("ground");
        assert!(found.missing.is_empty() && found.voids() == 0);
        assert!(found.stretches.len() >= 15);
        let rows = found.rows().expect("heights everywhere");
        let mut from_m = 0.0;
        for (to_m, highest_m) in rows {
            let points: Vec<(f64, f64)> = (0..=20)
                .map(|i| leg.point_at(from_m + (to_m - from_m) * f64::from(i) / 20.0))
                .map(|p| (p.lat_deg(), p.lon_deg()))
                .collect();
            // What must be in it, and what may be: a post outside, and the plane's error.
            let (mut least, mut most) = (i16::MIN, i16::MIN);
            for (&(row, column), &height) in &piece {
                if height <= least {
                    continue;
                }
                let at = (37.0 - row as f64 / 1_200.0, -85.0 + column as f64 / 1_200.0);
                // Too far by latitude alone: a degree has more than 110 km.
                if (at.0 - points[10].0).abs() * 110_000.0 > M_PER_NM + half_width_m + 500.0 {
                    continue;
                }
                let d = from_stretch_m(at, &points);
                if d <= half_width_m - NEAR_M {
                    least = least.max(height);
                }
                if d <= half_width_m + POST_M + NEAR_M {
                    most = most.max(height);
                }
            }
            most = most.max(least);
            assert!(
                (f64::from(least)..=f64::from(most)).contains(&highest_m),
                "to {to_m:.0} m: {highest_m} m, not {least} to {most}"
            );
            from_m = to_m;
        }
    }
}

#[test]
fn crosscheck_vincenty_and_karney_agree() {
    // The yardstick of the test above, against the crate's own geodesics: 1 mm over a few hundred miles.
    for (a, b) in [
        ((36.5, -84.3), (36.6, -84.1)),
        ((10.0, 20.0), (14.0, 17.0)),
        ((60.0, -1.0), (60.0, 3.0)),
    ] {
        let karney = geodesic::distance_m(place(a.0, a.1), place(b.0, b.1));
        assert!((vincenty_m(a, b) - karney).abs() < 1e-3);
    }
}

/// A made tile: one height everywhere but on some posts, and the rows of it that were read.
struct Made {
    side: usize,
    flat: i16,
    spikes: BTreeMap<(usize, usize), i16>,
    row: Vec<i16>,
    rows_read: BTreeSet<usize>,
}

struct MadeTiles(BTreeMap<Tile, Made>);

impl Heights for MadeTiles {
    type Error = std::convert::Infallible;
    type Posts = Made;

    fn posts(&mut self, tile: Tile) -> Result<Option<&mut Made>, Self::Error> {
        Ok(self.0.get_mut(&tile))
    }
}

impl Posts for Made {
    type Error = std::convert::Infallible;

    fn side(&self) -> usize {
        self.side
    }

    fn row(&mut self, row: usize) -> Result<&[i16], Self::Error> {
        assert!(row < self.side);
        self.rows_read.insert(row);
        self.row = vec![self.flat; self.side];
        for (&(r, column), &height) in &self.spikes {
            if r == row {
                self.row[column] = height;
            }
        }
        Ok(&self.row)
    }
}

fn tile(name: &str) -> Tile {
    Tile::from_name(name).expect("a tile")
}

fn made(side: usize, names: &[&str], spikes: &[(&str, usize, usize, i16)]) -> MadeTiles {
    let of = |name: &str| Made {
        side,
        flat: 100,
        spikes: spikes
            .iter()
            .filter(|s| s.0 == name)
            .map(|&(_, row, column, height)| ((row, column), height))
            .collect(),
        row: vec![],
        rows_read: BTreeSet::new(),
    };
    MadeTiles(names.iter().map(|n| (tile(n), of(n))).collect())
}

#[test]
fn closed_form_spikes_at_known_distances() {
    // East along the equator across the 180th meridian: 4 nm are 7,408 m, posts of 1 second are 30.9 m apart along it and 30.7 m across.
    // 241 rows north of it a post stands 7,402 m off, inside; 243 rows 7,463 m, outside the post that is given besides.
    let leg = Leg::new(place(0.0, 179.5), place(0.0, -179.5)).expect("a leg");
    let names = ["N00E179", "N00W180", "S01E179", "S01W180"];
    let of = |spike| {
        let mut heights = made(3_601, &names, &[spike]);
        let found = corridor(&leg, 4.0 * M_PER_NM, M_PER_NM, &mut heights).expect("ground");
        assert!(found.missing.is_empty());
        // Only rows near the equator are read.
        for (t, made) in &heights.0 {
            let near = |r: &usize| match t.south_deg {
                0 => *r >= 3_600 - 245,
                _ => *r <= 245,
            };
            assert!(made.rows_read.iter().all(near));
        }
        found.rows().expect("known everywhere")
    };
    // Column 1,800 of W180 is half a degree east of 180, the end of the leg; 1,000 seconds before it, 30.9 km short of the end.
    let rows = of(("N00W180", 3_600 - 241, 800, 3_000));
    let high: Vec<f64> = rows
        .iter()
        .filter(|r| r.1 == 3_000.0)
        .map(|r| r.0)
        .collect();
    let along_m = geodesic::distance_m(place(0.0, 179.5), place(0.0, -180.0 + 800.0 / 3_600.0));
    assert!(!high.is_empty() && high.len() <= 2, "{high:?}");
    assert!(
        high.iter()
            .all(|end| (end - along_m).abs() < M_PER_NM + NEAR_M)
    );
    assert!(
        of(("N00W180", 3_600 - 243, 800, 3_000))
            .iter()
            .all(|r| r.1 == 100.0)
    );
    // South of the equator and on the other side of the meridian.
    assert!(
        of(("S01E179", 100, 3_000, 3_000))
            .iter()
            .any(|r| r.1 == 3_000.0)
    );
    // Beyond the end of the leg, within 4 nm of it.
    assert!(
        of(("N00W180", 3_600, 1_800 + 239, 3_000))
            .iter()
            .any(|r| r.1 == 3_000.0)
    );
    assert!(
        of(("N00W180", 3_600, 1_800 + 243, 3_000))
            .iter()
            .all(|r| r.1 == 100.0)
    );
}

#[test]
fn closed_form_missing_tiles_and_voids_are_told() {
    let leg = Leg::new(place(10.5, 20.5), place(10.5, 21.5)).expect("a leg");
    let ground =
        |heights: &mut MadeTiles| corridor(&leg, M_PER_NM, M_PER_NM, heights).expect("ground");
    let found = ground(&mut made(1_201, &["N10E020"], &[]));
    assert_eq!(found.missing, BTreeSet::from([tile("N10E021")]));
    let rows = found.rows().expect("the sea");
    assert_eq!((rows[0].1, rows[rows.len() - 1].1), (100.0, 0.0));
    // Not missed where the route stops 1.2 nm short of it.
    let edge = Leg::new(place(10.5, 20.5), place(10.5, 20.98)).expect("a leg");
    let mut one = made(1_201, &["N10E020"], &[]);
    let found = corridor(&edge, M_PER_NM, M_PER_NM, &mut one).expect("ground");
    assert!(found.missing.is_empty());
    // A post without height under the route.
    let mut holed = made(
        1_201,
        &["N10E020", "N10E021"],
        &[("N10E020", 600, 700, VOID), ("N10E020", 600, 650, 900)],
    );
    let found = ground(&mut holed);
    assert!(found.missing.is_empty() && found.voids() > 0);
    // Beyond 85 degrees nothing is looked up.
    let polar = Leg::new(place(86.0, 20.5), place(87.0, 20.5)).expect("a leg");
    let found = corridor(&polar, M_PER_NM, M_PER_NM, &mut holed).expect("ground");
    assert!(found.stretches.iter().all(|s| s.missing));
}

/// A flight of 12 nm over the piece, with ground by hand or none of it said, from this folder.
fn over_the_piece(
    folder: &Path,
    terrain: &str,
) -> Result<fellrun::files::trip::TripFile, FileError> {
    let root = env!("CARGO_MANIFEST_DIR");
    let text = std::fs::read_to_string(format!("{root}/examples/first-trip.toml")).expect("a demo");
    let text = text
        .replace("../profiles", &format!("{root}/profiles"))
        .replace("weather/FBUS", &format!("{root}/examples/weather/FBUS"));
    parse_trip(
        &format!("{text}\n{terrain}"),
        &folder.join("trip.toml"),
        None,
    )
}

#[test]
fn closed_form_terrain_of_a_trip_raises_its_ground_and_says_what_is_missing() {
    // The demo trip runs over N42 to N43, W113 to W119: one tile of them, 2,000 m high all over, is given.
    let folder = tempfile::tempdir().expect("a folder");
    let high = 2_000_i16.to_be_bytes();
    let tile: Vec<u8> = high.into_iter().cycle().take(2 * SIDE * SIDE).collect();
    std::fs::write(folder.path().join("n43w118.HGT"), tile).expect("written");
    let plain = over_the_piece(folder.path(), "").expect("a trip");
    let raised = over_the_piece(folder.path(), "[terrain]\nfolder = \".\"").expect("a trip");
    let problem = |file: fellrun::files::trip::TripFile| {
        resolve(&file.trip, file.aircraft).expect("resolves")
    };
    let (plain, raised) = (problem(plain), problem(raised));
    let mut highest = 0.0_f64;
    for i in 0..280 {
        let s = f64::from(i) * M_PER_NM;
        let [hand, both] = [&plain, &raised].map(|p| p.ground_m(s).expect("known ground"));
        assert!(both >= hand - 1e-6, "{i} nm: {both} under {hand}");
        assert!(both == hand || both == 2_000.0, "{i} nm: {both} m");
        highest = highest.max(both - hand);
    }
    // By hand there is ground of 5,900 ft on the first leg: 202 m lower.
    assert!(
        (highest - (2_000.0 - 5_900.0 * M_PER_FT)).abs() < 100.0,
        "{highest}"
    );
    assert!(raised.legs[0].ground_source.contains("SRTM"));
    let missing = raised.notes.iter().find_map(|n| match n {
        Note::GroundMissing { leg, tiles } => Some((leg.clone(), tiles.clone())),
        _ => None,
    });
    let (leg, tiles) = missing.expect("a note");
    assert_eq!(leg, "KBNO to KU76");
    assert!(
        tiles.contains("N43W119") && !tiles.contains("N43W118"),
        "{tiles}"
    );
}

#[test]
fn closed_form_wrong_tiles_are_told_with_file_and_way_out() {
    let folder = tempfile::tempdir().expect("a folder");
    let told = |terrain: &str| {
        let error = over_the_piece(folder.path(), terrain).expect_err("a wrong folder");
        let finding = &error.findings[0];
        assert!(finding.line > 0 && finding.hint.is_some(), "{finding:?}");
        assert_eq!(finding.key, "terrain.folder");
        finding.message.clone()
    };
    assert!(told("[terrain]\nfolder = \"nowhere\"").contains("nowhere cannot be read"));
    assert!(told("[terrain]\nfolder = \".\"").contains("holds no tile"));
    let path = folder.path().join("N43W118.hgt");
    std::fs::write(&path, [0; 7]).expect("written");
    let message = told("[terrain]\nfolder = \".\"");
    assert!(message.contains("N43W118.hgt is 7 bytes long"), "{message}");
    // Little-endian 2,000 m: 0xD007 as big-endian is -12,281 m.
    let wrong: Vec<u8> = 2_000_i16
        .to_le_bytes()
        .into_iter()
        .cycle()
        .take(2 * SIDE * SIDE)
        .collect();
    std::fs::write(&path, wrong).expect("written");
    let message = told("[terrain]\nfolder = \".\"");
    assert!(
        message.contains("is -12281 m, not in the required range of -500..=9000 m"),
        "{message}"
    );
    // Nothing but voids near the route; nothing but voids in the only tile.
    let voids: Vec<u8> = VOID
        .to_be_bytes()
        .into_iter()
        .cycle()
        .take(2 * SIDE * SIDE)
        .collect();
    for name in [
        "N43W119", "N43W118", "N43W117", "N43W116", "N42W119", "N42W118", "N42W117", "N42W116",
    ] {
        std::fs::write(folder.path().join(format!("{name}.hgt")), &voids).expect("written");
    }
    assert!(told("[terrain]\nfolder = \".\"").contains("no height near the leg KBNO to KU76"));
    let error = over_the_piece(folder.path(), "[terrain]\nfolder = \".\"\ncorridor_nm = 40")
        .expect_err("too wide");
    assert!(error.findings[0].message.contains("0.5..=20 nm"));
}

/// Level ground against the definitions it stands for, every tenth of a mile of trips with rows of ground, from the ground and in flight.
#[test]
fn closed_form_level_ground_is_level() {
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    for name in ["first-trip", "hot-afternoon", "into-the-wind"] {
        let file = load_trip(&examples.join(format!("{name}.toml")), None).expect("loads");
        let ground = resolve(&file.trip, file.aircraft).expect("resolves");
        let in_flight = ground.in_flight(3_000.0, 60.0);
        for p in [ground, in_flight] {
            let (mut at_m, mut level) = (0.05 * M_PER_NM, 0);
            while at_m < p.length_m {
                if let Some(part) = p.level_ground(at_m) {
                    assert!(part.from_m <= at_m && at_m <= part.to_m, "{part:?}");
                    let mut inside_m = part.from_m.max(0.0) + 0.01;
                    while inside_m < part.to_m {
                        assert!(part.holds(inside_m));
                        assert_eq!(p.ground_m(inside_m), part.ground_m);
                        assert_eq!(p.floor_m(inside_m), part.floor_m);
                        inside_m += 0.1 * M_PER_NM;
                    }
                    level += 1;
                }
                at_m += 0.1 * M_PER_NM;
            }
            assert!(level > 100, "{name}: {level}");
        }
    }
}

/// A path held against the floor in one pass, against the floor asked for place by place: known ground and not, ground under the track or none, a
/// wide way in, from the ground and in flight.
#[test]
fn crosscheck_a_path_over_the_floor_against_the_floor_of_its_places() {
    const STEP_M: f64 = 2.0;
    // From one sample to the next a path of these gradients and the floor near a field move by less.
    const OFF_M: f64 = 0.3;
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let (mut compared, mut clear) = (0, 0);
    for name in ["first-trip", "hot-afternoon", "into-the-wind"] {
        let file = load_trip(&examples.join(format!("{name}.toml")), None).expect("loads");
        let ground = resolve(&file.trip, file.aircraft).expect("resolves");
        let mut half_known = ground.clone();
        half_known.legs.last_mut().expect("a leg").ground.clear();
        let mut under = ground.clone();
        for leg in &mut under.legs {
            leg.under_track = leg.ground.iter().map(|g| (g.0, g.1, g.2 - 300.0)).collect();
        }
        let mut wide = under.clone();
        wide.arrival.before_m = 14.0 * M_PER_NM;
        let mut at_field = under.clone();
        at_field.arrival.before_m = 0.0;
        let in_flight = under.in_flight(3_000.0, 60.0);
        for p in [ground, half_known, under, wide, at_field, in_flight] {
            for i in 0..120_u32 {
                let share = |golden: f64| (golden * f64::from(i)).fract();
                let length_m = [0.1, 1.0, 7.0, 25.0][i as usize % 4] * M_PER_NM;
                let from_m = share(0.618) * (p.length_m - length_m);
                let to_m = from_m + length_m;
                let (h0, gradient) = (1_200.0 + 3_000.0 * share(0.414), 0.1 * share(0.732) - 0.05);
                let altitude_m = |s_m: f64| h0 + (s_m - from_m) * gradient;
                let mut most_m = f64::NEG_INFINITY;
                let mut ask = |s_m: f64| {
                    if let Some(floor_m) = p.floor_m(s_m) {
                        most_m = most_m.max(floor_m - altitude_m(s_m));
                    }
                };
                let mut s_m = from_m + 1e-3;
                while s_m < to_m {
                    ask(s_m);
                    s_m += STEP_M;
                }
                for edge_m in p.floor_edges_m(from_m, to_m) {
                    ask(edge_m - 0.01);
                    ask(edge_m + 0.01);
                }
                let ends = [from_m, to_m].map(|s_m| (s_m, altitude_m(s_m)));
                let below_m = p.below_floor_m(ends[0], ends[1]).expect("it makes way");
                if most_m.is_finite() {
                    assert!(
                        (below_m - most_m).abs() < OFF_M,
                        "{name}: {from_m} to {to_m}: {below_m}, {most_m}"
                    );
                    compared += 1;
                    clear += usize::from(below_m < 0.0);
                } else {
                    assert_eq!(below_m, most_m, "{name}: {from_m} to {to_m}");
                }
                // What makes no way or is no path is left to its places.
                let [(a_m, h_m), b] = ends;
                assert_eq!(p.below_floor_m(b, (a_m, h_m)), None);
                assert_eq!(p.below_floor_m((a_m, h_m), (a_m, h_m)), None);
                assert_eq!(p.below_floor_m((a_m, f64::NAN), b), None);
                assert_eq!(p.below_floor_m((f64::NAN, h_m), b), None);
            }
        }
    }
    assert!(compared > 1_000 && clear > 100, "{compared} {clear}");
    assert!(clear < compared - 100, "{clear}");
}
