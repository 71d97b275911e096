//! The highest ground within a distance of a leg, by stretches along it, from tiles of a regular grid of heights.
//!
//! A tile covers one degree of latitude and longitude with posts at even steps of arc, its edges included, rows from north to
//! south, as the Shuttle Radar Topography Mission published them. Where the heights come from is the caller's ([`Heights`]).

use std::collections::BTreeSet;

use super::geodesic::Leg;

/// Height of a post that has none.
pub const VOID: i16 = i16::MIN;
/// Beyond this latitude no ground is looked up, deg: meridians converge too fast for [`corridor`], and the mission ended at 60.
pub const MOST_LATITUDE_DEG: f64 = 85.0;

/// Semi-major axis and squared eccentricity of WGS 84 (NIMA TR8350.2, table 3.1 and 3.3), m.
const AXIS_M: f64 = 6_378_137.0;
const ECCENTRICITY_2: f64 = 6.694_379_990_14e-3;
/// Posts of a tile that is not there are taken this close, per degree: only whether it is touched is asked.
const ASSUMED_SIDE: usize = 1_201;

/// A tile by its south-west corner, whole degrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Tile {
    /// Latitude of the southern edge, deg.
    pub south_deg: i32,
    /// Longitude of the western edge, -180 to 179 deg.
    pub west_deg: i32,
}

impl Tile {
    /// The corner as file names have it: `N36W085`.
    pub fn name(self) -> String {
        let (lat, lon) = (self.south_deg, self.west_deg);
        format!(
            "{}{:02}{}{:03}",
            if lat < 0 { 'S' } else { 'N' },
            lat.abs(),
            if lon < 0 { 'W' } else { 'E' },
            lon.abs()
        )
    }

    /// The tile that a name like `N36W085` says, capitals or not; `None` for any other text.
    pub fn from_name(name: &str) -> Option<Self> {
        let signed = |text: &str, plus: &str, minus: &str| {
            let (letter, digits) = (text.get(..1)?, text.get(1..)?);
            if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
                return None;
            }
            let degrees: i32 = digits.parse().ok()?;
            if letter.eq_ignore_ascii_case(plus) {
                Some(degrees)
            } else {
                letter.eq_ignore_ascii_case(minus).then_some(-degrees)
            }
        };
        if name.len() != 7 {
            return None;
        }
        let south_deg = signed(name.get(..3)?, "N", "S")?;
        let west_deg = signed(name.get(3..)?, "E", "W")?;
        let on_earth = (-90..90).contains(&south_deg) && (-180..180).contains(&west_deg);
        on_earth.then_some(Self {
            south_deg,
            west_deg,
        })
    }
}

/// Where heights come from.
pub trait Heights {
    /// What can go wrong.
    type Error;
    /// What is in a tile.
    type Posts: Posts<Error = Self::Error>;

    /// The posts of a tile; `None` where there is no such tile.
    ///
    /// # Errors
    /// Whatever keeps the tile from being looked at.
    fn posts(&mut self, tile: Tile) -> Result<Option<&mut Self::Posts>, Self::Error>;
}

/// The posts of one tile.
pub trait Posts {
    /// What can go wrong.
    type Error;

    /// Posts along one side, at least two.
    fn side(&self) -> usize;

    /// Heights \[m\] above mean sea level of a row of posts, counted from the north, west to east, as many as [`Posts::side`] says;
    /// [`VOID`] where there is none.
    ///
    /// # Errors
    /// Whatever keeps the row from being read.
    fn row(&mut self, row: usize) -> Result<&[i16], Self::Error>;
}

/// What is known of the ground near a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Its end, m from the start of the leg.
    pub to_m: f64,
    /// Highest post near it, m; `None` where there is none.
    pub highest_m: Option<i16>,
    /// Posts near it without height.
    pub voids: usize,
    /// A part near it lies in a tile that is not there.
    pub missing: bool,
}

/// The ground along a leg.
#[derive(Debug, Clone, PartialEq)]
pub struct Corridor {
    /// Stretches in order, the last to the end of the leg.
    pub stretches: Vec<Stretch>,
    /// Tiles that are needed and not there.
    pub missing: BTreeSet<Tile>,
}

impl Corridor {
    /// Rows of (end from the start of the leg, highest ground), m. Near posts without height the ground is the highest of the nearest
    /// stretches known on both sides and of its own. Ground of a missing tile is taken for the sea, which has no tiles. `None` where
    /// nothing but posts without height is near.
    pub fn rows(&self) -> Option<Vec<(f64, f64)>> {
        let known = |s: &Stretch| {
            let sea = s.missing.then_some(0);
            s.highest_m.max(sea)
        };
        let row = |(i, s): (usize, &Stretch)| {
            let own = known(s);
            let highest = if s.voids > 0 {
                let before = self.stretches[..i].iter().rev().find_map(|s| s.highest_m);
                let after = self.stretches[i + 1..].iter().find_map(|s| s.highest_m);
                own.max(before).max(after)
            } else {
                own
            };
            Some((s.to_m, f64::from(highest?)))
        };
        self.stretches.iter().enumerate().map(row).collect()
    }

    /// Posts without height near the leg.
    pub fn voids(&self) -> usize {
        self.stretches.iter().map(|s| s.voids).sum()
    }
}

/// The part of a straight line that is no farther than `radius` from the line from `a` to `b`, all in one plane: along the
/// line through `from` in the direction `along`, in units of `along`. `None` where it comes no nearer.
pub fn within(
    (a, b): ([f64; 2], [f64; 2]),
    radius: f64,
    from: [f64; 2],
    along: [f64; 2],
) -> Option<(f64, f64)> {
    let dot = |u: [f64; 2], v: [f64; 2]| u[0] * v[0] + u[1] * v[1];
    let minus = |u: [f64; 2], v: [f64; 2]| [u[0] - v[0], u[1] - v[1]];
    let mut found: Option<(f64, f64)> = None;
    let mut take = |lo: f64, hi: f64| {
        if lo <= hi {
            found = Some(found.map_or((lo, hi), |(l, h)| (l.min(lo), h.max(hi))));
        }
    };
    // Discs round both ends.
    let speed2 = dot(along, along);
    for end in [a, b] {
        let d = minus(from, end);
        let half = dot(d, along) / speed2;
        let rest = half * half - (dot(d, d) - radius * radius) / speed2;
        if rest >= 0.0 {
            take(-half - rest.sqrt(), -half + rest.sqrt());
        }
    }
    // The rectangle between them.
    let edge = minus(b, a);
    let length2 = dot(edge, edge);
    if length2 > 0.0 {
        let d = minus(from, a);
        let across = [-edge[1], edge[0]];
        let (mut lo, mut hi) = (f64::NEG_INFINITY, f64::INFINITY);
        let reach = radius * length2.sqrt();
        for (axis, least, most) in [(across, -reach, reach), (edge, 0.0, length2)] {
            let (here, rate) = (dot(d, axis), dot(along, axis));
            if rate == 0.0 {
                if here < least || here > most {
                    (lo, hi) = (f64::INFINITY, f64::NEG_INFINITY);
                }
            } else {
                let (u, v) = ((least - here) / rate, (most - here) / rate);
                (lo, hi) = (lo.max(u.min(v)), hi.min(u.max(v)));
            }
        }
        take(lo, hi);
    }
    found
}

/// Radii of curvature of the ellipsoid at a latitude \[rad\]: along the meridian and along the parallel, m.
pub fn radii_m(lat_rad: f64) -> (f64, f64) {
    let w2 = 1.0 - ECCENTRICITY_2 * lat_rad.sin().powi(2);
    let prime = AXIS_M / w2.sqrt();
    (prime * (1.0 - ECCENTRICITY_2) / w2, prime * lat_rad.cos())
}

/// The ground within `half_width_m` of a leg, by stretches of about `stretch_m`: for each the highest post within that distance of any
/// of its points, and of the posts just outside, since ground between posts belongs to both.
///
/// A stretch is looked at on the plane that touches the Earth beside it, with the radii of the ellipsoid at the mean latitude: under
/// 20 m off within 20 nm at latitudes up to 60, which the posts just outside make up for.
///
/// # Errors
/// Those of [`Heights`].
pub fn corridor<H: Heights>(
    leg: &Leg,
    half_width_m: f64,
    stretch_m: f64,
    heights: &mut H,
) -> Result<Corridor, H::Error> {
    let length_m = leg.distance_m();
    let count = leg.pieces(stretch_m);
    let mut out = Corridor {
        stretches: vec![],
        missing: BTreeSet::new(),
    };
    let end_m = |i: u32| length_m * f64::from(i) / f64::from(count);
    for i in 0..count {
        let mut stretch = Stretch {
            to_m: end_m(i + 1),
            highest_m: None,
            voids: 0,
            missing: false,
        };
        look(
            leg,
            (end_m(i), end_m(i + 1)),
            half_width_m,
            heights,
            &mut stretch,
            &mut out,
        )?;
        out.stretches.push(stretch);
    }
    Ok(out)
}

/// The posts near one stretch.
fn look<H: Heights>(
    leg: &Leg,
    (from_m, to_m): (f64, f64),
    half_width_m: f64,
    heights: &mut H,
    stretch: &mut Stretch,
    out: &mut Corridor,
) -> Result<(), H::Error> {
    let middle = leg.point_at(0.5 * (from_m + to_m));
    let (lat0, lon0) = (middle.lat_deg(), middle.lon_deg());
    let meridian_m = radii_m(lat0.to_radians()).0;
    let reach_deg =
        |more_m: f64| ((0.5 * (to_m - from_m) + half_width_m + more_m) / meridian_m).to_degrees();
    // A degree holds at least this many posts, so that the posts just outside are no farther than this.
    let far_deg = reach_deg(meridian_m.to_radians() / 1_000.0);
    // Metres east in one degree of longitude, for places at this latitude [deg] seen from the middle: the parabola through three latitudes.
    let exactly_m = |lat: f64| radii_m((0.5 * (lat0 + lat)).to_radians()).1.to_radians();
    let [south_m, here_m, north_m] = [-far_deg, 0.0, far_deg].map(|d| exactly_m(lat0 + d));
    let slope = 0.5 * (north_m - south_m) / far_deg;
    let curve = 0.5 * (north_m + south_m - 2.0 * here_m) / (far_deg * far_deg);
    let east_m = |lat: f64| here_m + (lat - lat0) * (slope + (lat - lat0) * curve);
    let [a, b] = [from_m, to_m].map(|s_m| {
        let p = leg.point_at(s_m);
        let east_deg = (p.lon_deg() - lon0 + 540.0).rem_euclid(360.0) - 180.0;
        [
            east_deg * east_m(p.lat_deg()),
            (p.lat_deg() - lat0).to_radians() * meridian_m,
        ]
    });
    if lat0.abs() + far_deg > MOST_LATITUDE_DEG {
        stretch.missing = true;
        out.missing.insert(tile_at(lat0, lon0));
        return Ok(());
    }
    let far_east_deg = far_deg * meridian_m.to_radians() / exactly_m(lat0.abs() + 2.0 * far_deg);
    for south in floor(lat0 - far_deg)..=floor(lat0 + far_deg) {
        for west in floor(lon0 - far_east_deg)..=floor(lon0 + far_east_deg) {
            let tile = tile_at(f64::from(south), f64::from(west));
            let mut posts = heights.posts(tile)?;
            let side = posts.as_ref().map_or(ASSUMED_SIDE, |p| p.side());
            #[expect(clippy::cast_precision_loss, reason = "a few thousand posts")]
            let last = (side - 1) as f64;
            let radius_m = half_width_m + meridian_m.to_radians() / last;
            // The first and the last of rows or columns that lie between two numbers of steps, if any.
            let between = |lo: f64, hi: f64| {
                let (lo, hi) = (lo.ceil().max(0.0), hi.floor().min(last));
                #[expect(
                    clippy::cast_possible_truncation,
                    clippy::cast_sign_loss,
                    reason = "clamped to the posts"
                )]
                (lo <= hi).then_some((lo as usize, hi as usize))
            };
            let north = f64::from(south) + 1.0;
            let Some((top, bottom)) = between(
                (north - lat0 - far_deg) * last,
                (north - lat0 + far_deg) * last,
            ) else {
                continue;
            };
            for row in top..=bottom {
                #[expect(clippy::cast_precision_loss, reason = "a few thousand posts")]
                let lat = north - row as f64 / last;
                let y = (lat - lat0).to_radians() * meridian_m;
                let Some((x0, x1)) = within((a, b), radius_m, [0.0, y], [1.0, 0.0]) else {
                    continue;
                };
                let column = |x: f64| (lon0 + x / east_m(lat) - f64::from(west)) * last;
                let Some((first, end)) = between(column(x0), column(x1)) else {
                    continue;
                };
                let Some(posts) = &mut posts else {
                    // Its edges are those of its neighbours too.
                    let inside = row > 0 && row + 1 < side && end > 0 && first + 1 < side;
                    if inside {
                        stretch.missing = true;
                        out.missing.insert(tile);
                        break;
                    }
                    continue;
                };
                // A void is lower than any height; the loop over both ends becomes plain vector code.
                let near = &posts.row(row)?[first..=end];
                let (lowest, highest) = near.iter().fold((i16::MAX, VOID), |(low, high), &h| {
                    (low.min(h), high.max(h))
                });
                let highest = (highest > VOID).then_some(highest);
                stretch.highest_m = stretch.highest_m.max(highest);
                if lowest == VOID {
                    stretch.voids += near.iter().filter(|&&h| h == VOID).count();
                }
            }
        }
    }
    Ok(())
}

#[expect(clippy::cast_possible_truncation, reason = "degrees")]
fn floor(degrees: f64) -> i32 {
    degrees.floor() as i32
}

/// The tile of a place, deg; the longitude may lie beyond half a turn.
fn tile_at(lat_deg: f64, lon_deg: f64) -> Tile {
    Tile {
        south_deg: floor(lat_deg),
        west_deg: (floor(lon_deg) + 180).rem_euclid(360) - 180,
    }
}

/// The higher of two grounds given by stretches (end, height), each as far as it goes; of an empty one the other.
pub fn higher(one: &[(f64, f64)], other: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let at = |rows: &[(f64, f64)], end: f64| {
        let row = rows.iter().find(|r| end <= r.0).or(rows.last());
        row.map_or(f64::NEG_INFINITY, |r| r.1)
    };
    let mut ends: Vec<f64> = one.iter().chain(other).map(|r| r.0).collect();
    ends.sort_by(f64::total_cmp);
    ends.dedup();
    ends.into_iter()
        .map(|end| (end, at(one, end).max(at(other, end))))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_form_names_of_tiles() {
        for (name, south_deg, west_deg) in [
            ("N36W085", 36, -85),
            ("S01E000", -1, 0),
            ("N00E179", 0, 179),
            ("S90W180", -90, -180),
        ] {
            let tile = Tile {
                south_deg,
                west_deg,
            };
            assert_eq!(tile.name(), name);
            assert_eq!(Tile::from_name(name), Some(tile));
            assert_eq!(Tile::from_name(&name.to_lowercase()), Some(tile));
        }
        for bad in [
            "", "N36W85", "N36W0851", "X36W085", "N90E000", "N00E180", "N3éW085", "N+6W085",
        ] {
            assert_eq!(Tile::from_name(bad), None, "{bad}");
        }
    }

    #[test]
    fn closed_form_line_near_a_line() {
        let near =
            |y: f64, radius: f64| within(([0.0, 0.0], [10.0, 0.0]), radius, [0.0, y], [1.0, 0.0]);
        // Along it: 5 beyond both ends. A 3-4-5 triangle beside it. Just touching, and out of reach.
        assert_eq!(near(0.0, 5.0), Some((-5.0, 15.0)));
        assert_eq!(near(3.0, 5.0), Some((-4.0, 14.0)));
        assert_eq!(near(5.0, 5.0), Some((0.0, 10.0)));
        assert_eq!(near(5.1, 5.0), None);
        // Across it, in units of two.
        let across = within(([0.0, 0.0], [10.0, 0.0]), 5.0, [4.0, 1.0], [0.0, 2.0]);
        assert_eq!(across, Some((-3.0, 2.0)));
        // A point.
        assert_eq!(
            within(([1.0, 1.0], [1.0, 1.0]), 2.0, [0.0, 1.0], [1.0, 0.0]),
            Some((-1.0, 3.0))
        );
    }

    #[test]
    fn closed_form_higher_of_two_grounds() {
        let (one, other) = ([(10.0, 1.0), (30.0, 5.0)], [(20.0, 3.0), (30.0, 2.0)]);
        assert_eq!(
            higher(&one, &other),
            [(10.0, 3.0), (20.0, 5.0), (30.0, 5.0)]
        );
        assert_eq!(higher(&one, &[]), one);
        assert_eq!(higher(&[], &other), other);
    }

    #[test]
    fn closed_form_ground_where_it_is_not_known() {
        let stretch = |highest_m, voids, missing| Stretch {
            to_m: 0.0,
            highest_m,
            voids,
            missing,
        };
        let of = |stretches: Vec<Stretch>| {
            let corridor = Corridor {
                stretches,
                missing: BTreeSet::new(),
            };
            let rows = corridor.rows();
            rows.map(|rows| rows.into_iter().map(|r| r.1).collect::<Vec<_>>())
        };
        // Posts without height: the higher neighbour; the nearest known where the neighbour is not; its own if that is highest.
        let (low, high) = (stretch(Some(100), 0, false), stretch(Some(900), 0, false));
        let hole = stretch(None, 4, false);
        assert_eq!(of(vec![low, hole, high]), Some(vec![100.0, 900.0, 900.0]));
        assert_eq!(
            of(vec![high, hole, hole, low]),
            Some(vec![900.0, 900.0, 900.0, 100.0])
        );
        assert_eq!(
            of(vec![low, stretch(Some(950), 1, false), high]),
            Some(vec![100.0, 950.0, 900.0])
        );
        assert_eq!(of(vec![hole]), None);
        // A missing tile is the sea, beside which land below the sea stays as it is.
        assert_eq!(of(vec![stretch(None, 0, true)]), Some(vec![0.0]));
        assert_eq!(of(vec![stretch(Some(-20), 0, false)]), Some(vec![-20.0]));
        assert_eq!(of(vec![stretch(Some(-20), 0, true)]), Some(vec![0.0]));
    }
}
