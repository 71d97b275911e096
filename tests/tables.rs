//! The aircraft written out: power settings, grid, glide, one lever alone, their faces, and the three commands as the shell sees them.

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

use fellrun::aircraft::Aircraft;
use std::path::Path;

/// Every profile that ships.
const PROFILES: [&str; 5] = [
    "retractable-200hp",
    "retractable-285hp",
    "trainer-160hp",
    "turbo-retractable-300hp",
    "twin-200hp",
];

/// A profile by its name.
fn profile(name: &str) -> Aircraft {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("profiles/{name}.toml"));
    fellrun::files::profile::load_profile(&path).expect("a profile of this repository loads")
}
