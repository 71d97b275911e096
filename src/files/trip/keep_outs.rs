//! Volumes to keep out of, from the files the trip names.

use std::ops::Range as Span;
use std::path::Path;

use super::not_found;
use crate::earth::keep_out::Volume;
use crate::files::diagnostic::FileError;
use crate::files::keep_out::load_keep_outs;
use crate::files::sheet::{Section, Sheet};
use crate::quantity::M_PER_NM;

/// The files of keep-out volumes that a trip names.
pub(super) struct ReadKeepOuts {
    files: Vec<(String, Span<usize>)>,
    pub(super) margin_m: f64,
}

pub(super) fn keep_outs(section: &Section<'_>) -> ReadKeepOuts {
    let files = if section.has("keep_outs") {
        section.texts(
            "keep_outs",
            "a list of GeoJSON files like [\"restricted.geojson\"]",
        )
    } else {
        vec![]
    };
    // without a file the margin has no meaning, and is refused as unknown
    let margin_m = if files.is_empty() {
        0.0
    } else {
        section.number_or("keep_out_margin_nm", "margin", 0.0).value * M_PER_NM
    };
    ReadKeepOuts { files, margin_m }
}

impl ReadKeepOuts {
    pub(super) fn load(&self, sheet: &Sheet<'_>, folder: &Path) -> Result<Vec<Volume>, FileError> {
        let mut volumes = Vec::new();
        for (i, (name, span)) in self.files.iter().enumerate() {
            match load_keep_outs(&folder.join(name)) {
                Err(error) if error.is_unreadable() => {
                    let key = format!("limits.keep_outs[{}]", i + 1);
                    return Err(not_found(sheet, &key, span.clone(), &error));
                }
                other => volumes.extend(other?),
            }
        }
        Ok(volumes)
    }
}
