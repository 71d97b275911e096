//! Ground from tiles of the Shuttle Radar Topography Mission (SRTM), as users keep them in a folder.
//!
//! A tile is a file `N36W085.hgt`, named by its south-west corner: rows of big-endian 16-bit heights in whole metres above mean sea
//! level, from the north, west to east, 1,201 posts a side (3 seconds of arc) or 3,601 (1 second), -32,768 where there is none. Form
//! from memory of the mission's own documentation. Only the rows that a corridor touches are read, with some beside them.
//!
//! # Keys of a trip
//! | section | keys (with default) |
//! | --- | --- |
//! | `[terrain]` | `folder` (from the folder of the trip file), `corridor_nm` (4: half-width, 14 CFR 91.177(a)(2)) |

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::ops::Range as Span;
use std::path::{Path, PathBuf};

use super::diagnostic::{FileError, Finding, FindingKind, quoted};
use super::sheet::{Section, Sheet};
use crate::earth::geodesic::Leg;
use crate::earth::terrain::{self, Heights, Posts, Tile, VOID};
use crate::quantity::M_PER_NM;
use crate::trip::{LegGround, Note};

/// Posts along a side: 3 seconds and 1 second of arc.
const SIDES: [usize; 2] = [1_201, 3_601];
/// Heights beyond these are no ground, m: the Dead Sea's shore is at -430, the highest summit at 8,849.
const HEIGHTS_M: (i16, i16) = (-500, 9_000);
/// Half-width of the corridor when the trip gives none, nm: 14 CFR 91.177(a)(2), 4 nm from the course.
const CORRIDOR_NM: f64 = 4.0;
/// Half-width of the strip that counts as under the track, m: our choice, what a pilot who holds the course drifts off it.
const UNDER_TRACK_M: f64 = 0.5 * M_PER_NM;
/// Length of the stretches that ground is given by, m.
const STRETCH_M: f64 = M_PER_NM;

/// What to do about a tile that is wrong.
pub const TILE_WAY_OUT: &str =
    "replace this tile by a whole one, unpacked, or take it out of the folder";

/// Why ground cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum HgtError {
    /// The folder cannot be listed.
    #[error("the folder {} cannot be read: {why}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        why: io::Error,
    },
    /// No tile in the folder.
    #[error("the folder {} holds no tile: no file is named like N36W085.hgt", path.display())]
    Empty {
        /// The folder.
        path: PathBuf,
    },
    /// The name is none of a tile.
    #[error("{} is not named like a tile, N36W085.hgt: where it lies is not known", path.display())]
    Name {
        /// The file.
        path: PathBuf,
    },
    /// A tile cannot be read.
    #[error("{} cannot be read: {why}", path.display())]
    Tile {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: io::Error,
    },
    /// The length fits no tile.
    #[error(
        "{} is {bytes} bytes long; a tile has 2,884,802 (1,201 x 1,201 heights of 2 bytes) or 25,934,402 (3,601 x 3,601)", path.display()
    )]
    Length {
        /// The file.
        path: PathBuf,
        /// Its length.
        bytes: u64,
    },
    /// A height that is none.
    #[error(
        "{}: the height in row {row}, column {column} is {height_m} m, not in the required range of -500..=9000 m; heights are big-endian", path.display()
    )]
    Height {
        /// The file.
        path: PathBuf,
        /// Row, from 1, from the north.
        row: usize,
        /// Column, from 1, from the west.
        column: usize,
        /// The height.
        height_m: i16,
    },
}

fn is_hgt(path: &Path) -> bool {
    path.extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("hgt"))
}

/// The tile that a path names.
fn named(path: &Path) -> Option<Tile> {
    Tile::from_name(path.file_stem()?.to_str()?)
}

/// Whether a file is meant to be a tile: by the ending of its name, or by the rest of it and its length.
pub fn looks_like_tile(path: &Path, bytes: usize) -> bool {
    let fits = SIDES.iter().any(|n| 2 * n * n == bytes);
    is_hgt(path) || fits && named(path).is_some()
}

/// What is in a tile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TileSummary {
    /// Which it is.
    pub tile: Tile,
    /// Posts along a side.
    pub side: usize,
    /// Lowest and highest post, m; none in a tile of nothing but voids.
    pub heights_m: Option<(i16, i16)>,
    /// Posts without height.
    pub voids: usize,
}

impl TileSummary {
    /// Reads a whole tile.
    ///
    /// # Errors
    /// [`HgtError`] but for those of folders.
    pub fn new(path: &Path) -> Result<Self, HgtError> {
        let tile = named(path).ok_or_else(|| HgtError::Name {
            path: path.to_owned(),
        })?;
        let mut folder = Folder {
            paths: BTreeMap::from([(tile, path.to_owned())]),
            open: BTreeMap::new(),
        };
        let mut posts = folder.posts(tile)?;
        let side = posts.as_ref().map_or(0, |p| p.side());
        let (mut heights_m, mut voids) = (None::<(i16, i16)>, 0);
        for row in 0..side {
            let heights = match &mut posts {
                Some(posts) => posts.row(row)?,
                None => &[],
            };
            for &height in heights {
                if height == VOID {
                    voids += 1;
                } else {
                    let (low, high) = heights_m.unwrap_or((height, height));
                    heights_m = Some((low.min(height), high.max(height)));
                }
            }
        }
        Ok(Self {
            tile,
            side,
            heights_m,
            voids,
        })
    }
}

/// Rows that are read at a time: a corridor wants most of those beside one that it wants.
const BLOCK_ROWS: usize = 16;

/// A folder of tiles.
#[derive(Debug)]
pub struct Folder {
    paths: BTreeMap<Tile, PathBuf>,
    open: BTreeMap<Tile, OpenTile>,
}

/// A tile whose rows are read as they are asked for.
#[derive(Debug)]
pub struct OpenTile {
    path: PathBuf,
    file: File,
    side: usize,
    /// [`BLOCK_ROWS`] rows each, the last as many as are left; `None` until it is read.
    blocks: Vec<Option<Vec<i16>>>,
    /// A block as the file has it.
    bytes: Vec<u8>,
}

impl Folder {
    /// The tiles of a folder, by their names; none is opened yet.
    ///
    /// # Errors
    /// [`HgtError::Folder`], [`HgtError::Empty`].
    pub fn new(folder: &Path) -> Result<Self, HgtError> {
        let listed = |why| HgtError::Folder {
            path: folder.to_owned(),
            why,
        };
        let mut paths = BTreeMap::new();
        for entry in std::fs::read_dir(folder).map_err(listed)? {
            let path = entry.map_err(listed)?.path();
            if let (true, Some(tile)) = (is_hgt(&path), named(&path)) {
                // Of two names that differ in capitals the first by the alphabet, whatever the order of the folder.
                let kept = paths.entry(tile).or_insert_with(|| path.clone());
                if path < *kept {
                    *kept = path;
                }
            }
        }
        if paths.is_empty() {
            return Err(HgtError::Empty {
                path: folder.to_owned(),
            });
        }
        Ok(Self {
            paths,
            open: BTreeMap::new(),
        })
    }
}

impl Heights for Folder {
    type Error = HgtError;
    type Posts = OpenTile;

    fn posts(&mut self, tile: Tile) -> Result<Option<&mut OpenTile>, HgtError> {
        let Some(path) = self.paths.get(&tile) else {
            return Ok(None);
        };
        match self.open.entry(tile) {
            Entry::Occupied(open) => Ok(Some(open.into_mut())),
            Entry::Vacant(room) => Ok(Some(room.insert(OpenTile::new(path)?))),
        }
    }
}

impl OpenTile {
    fn new(path: &Path) -> Result<Self, HgtError> {
        let unread = |why| HgtError::Tile {
            path: path.to_owned(),
            why,
        };
        let file = File::open(path).map_err(unread)?;
        let bytes = file.metadata().map_err(unread)?.len();
        let Some(side) = SIDES.into_iter().find(|&n| 2 * (n * n) as u64 == bytes) else {
            return Err(HgtError::Length {
                path: path.to_owned(),
                bytes,
            });
        };
        Ok(Self {
            path: path.to_owned(),
            file,
            side,
            blocks: vec![None; side.div_ceil(BLOCK_ROWS)],
            bytes: vec![],
        })
    }
}

impl Posts for OpenTile {
    type Error = HgtError;

    fn side(&self) -> usize {
        self.side
    }

    fn row(&mut self, row: usize) -> Result<&[i16], HgtError> {
        let (block, line) = (row / BLOCK_ROWS, row % BLOCK_ROWS);
        let side = self.side;
        let Some(kept) = self.blocks.get_mut(block) else {
            return Ok(&[]);
        };
        if kept.is_none() {
            let heights = read_block(&mut self.file, &self.path, side, block, &mut self.bytes)?;
            *kept = Some(heights);
        }
        let heights = kept.as_deref().unwrap_or_default();
        Ok(heights.get(line * side..(line + 1) * side).unwrap_or(&[]))
    }
}

/// Some rows of a tile, every height of which is one; `bytes` is room to read them into.
fn read_block(
    file: &mut File,
    path: &Path,
    side: usize,
    block: usize,
    bytes: &mut Vec<u8>,
) -> Result<Vec<i16>, HgtError> {
    let first = block * BLOCK_ROWS;
    bytes.resize(2 * side * BLOCK_ROWS.min(side - first), 0);
    file.seek(SeekFrom::Start((2 * side * first) as u64))
        .and_then(|_| file.read_exact(bytes))
        .map_err(|why| HgtError::Tile {
            path: path.to_owned(),
            why,
        })?;
    let (pairs, _) = bytes.as_chunks::<2>();
    let heights: Vec<i16> = pairs.iter().map(|&pair| i16::from_be_bytes(pair)).collect();
    let wrong = |&h: &i16| h != VOID && !(HEIGHTS_M.0..=HEIGHTS_M.1).contains(&h);
    // Lowest and highest are found by plain vector code; which is wrong is asked only where one is.
    let known = |&h: &i16| if h == VOID { 0 } else { h };
    let (low, high) = heights
        .iter()
        .map(known)
        .fold((0, 0), |(low, high), h| (h.min(low), h.max(high)));
    if (low < HEIGHTS_M.0 || high > HEIGHTS_M.1)
        && let Some(i) = heights.iter().position(wrong)
    {
        return Err(HgtError::Height {
            path: path.to_owned(),
            row: first + i / side + 1,
            column: i % side + 1,
            height_m: heights[i],
        });
    }
    Ok(heights)
}

/// The section `[terrain]` of a trip.
pub(super) struct Terrain {
    folder: (String, Span<usize>),
    corridor_m: f64,
}

/// Reads it, if it is there.
pub(super) fn section(root: &Section<'_>) -> Option<Terrain> {
    if !root.has("terrain") {
        return None;
    }
    let section = root.section("terrain");
    let folder = section.text("folder", "the folder of the tiles");
    let span = section.span_of("folder");
    let corridor = section.number_or("corridor_nm", "corridor", CORRIDOR_NM);
    section.finish();
    Some(Terrain {
        folder: (folder, span),
        corridor_m: corridor.value * M_PER_NM,
    })
}

/// Raises the ground of legs to that of the tiles, and says what is not known of it.
pub(super) fn raise<'a>(
    sheet: &Sheet<'_>,
    base: &Path,
    section: &Terrain,
    legs: impl Iterator<Item = (&'a mut LegGround, Option<Leg>, &'a str)>,
) -> Result<Vec<Note>, FileError> {
    let (name, span) = &section.folder;
    let fail = |message: String, hint: &str| {
        sheet.fail(
            Finding::new(
                FindingKind::Unreadable,
                "terrain.folder",
                Some(span.clone()),
                message,
            )
            .label("named here")
            .hint(hint),
        )
    };
    let wrong = |error: HgtError| {
        let hint = match &error {
            HgtError::Folder { .. } | HgtError::Empty { .. } => {
                "give the folder of the .hgt tiles; paths start from the folder of the trip file"
            }
            _ => TILE_WAY_OUT,
        };
        fail(error.to_string(), hint)
    };
    let mut folder = Folder::new(&base.join(name)).map_err(wrong)?;
    let mut notes = Vec::new();
    for (ground, line, leg) in legs {
        let Some(line) = line else { continue };
        let corridor =
            terrain::corridor(&line, section.corridor_m, STRETCH_M, &mut folder).map_err(wrong)?;
        let Some(rows) = corridor.rows() else {
            let message = format!(
                "the tiles in {} have no height near the leg {leg}",
                quoted(name)
            );
            return Err(fail(
                message,
                "give tiles without voids, or rows of ground by hand",
            ));
        };
        if !corridor.missing.is_empty() {
            let tiles: Vec<String> = corridor.missing.iter().map(|t| t.name()).collect();
            notes.push(Note::GroundMissing {
                leg: leg.to_owned(),
                tiles: tiles.join(", "),
            });
        }
        let posts = corridor.voids();
        if posts > 0 {
            notes.push(Note::GroundVoid {
                leg: leg.to_owned(),
                posts,
            });
        }
        let from_tiles = format!(
            "highest SRTM post within {:.1} nm by nautical mile, tiles in {name}",
            section.corridor_m / M_PER_NM
        );
        ground.source = if ground.ground.is_empty() {
            from_tiles
        } else {
            format!(
                "the higher of: {from_tiles}; and by hand: {}",
                ground.source
            )
        };
        ground.ground = terrain::higher(&ground.ground, &rows);
        let under = terrain::corridor(&line, UNDER_TRACK_M, STRETCH_M, &mut folder);
        ground.under_track = under.map_err(wrong)?.rows().unwrap_or_default();
    }
    Ok(notes)
}
