//! The aircraft written out: power settings, grid, glide, one lever alone, their faces, and the three commands as the shell sees them.

mod glide;
mod glide_face;
mod grid;
mod settings;
mod settings_face;
mod shell;
mod what_if;

use crate::common::{PROFILES, profile};
