//! The aircraft written out: power settings, grid, glide, one lever alone, their faces, and the three commands as the shell sees them.

mod common;

#[path = "tables/glide.rs"]
mod glide;
#[path = "tables/glide_face.rs"]
mod glide_face;
#[path = "tables/grid.rs"]
mod grid;
#[path = "tables/settings.rs"]
mod settings;
#[path = "tables/settings_face.rs"]
mod settings_face;
#[path = "tables/shell.rs"]
mod shell;
#[path = "tables/what_if.rs"]
mod what_if;

use common::{PROFILES, profile};
