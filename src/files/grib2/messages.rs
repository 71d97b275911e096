//! The fields of files, one after another.

use std::fs::File;
use std::io::BufReader;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use grib::SubMessage;

use super::cut::Cut;
use super::heading::{Heading, heading};
use super::overview::is_grib;
use crate::files::diagnostic::{FileError, Finding, FindingKind};

pub(super) fn unusable(path: &Path, message: String, hint: &str) -> FileError {
    let finding = Finding::new(FindingKind::Syntax, "", None, message).hint(hint);
    FileError::new(path, "", vec![finding])
}

/// The crate is young: a panic in it on a damaged field is a field that cannot be decoded.
pub(super) fn guarded<T>(work: impl FnOnce() -> Result<T, String>) -> Result<T, String> {
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| Err("it is damaged".to_owned()))
}

/// The values of a field at the points kept of its grid. `Err` says why it cannot be decoded.
pub(super) fn decoded<R: grib::Grib2Read>(
    message: SubMessage<'_, R>,
    cut: &Cut,
) -> Result<Vec<f32>, String> {
    guarded(|| {
        let plain = |e: grib::GribError| e.to_string();
        let decoder = grib::Grib2SubmessageDecoder::from(message).map_err(plain)?;
        let values = decoder.dispatch().map_err(plain)?;
        Ok(cut.pick(values))
    })
}

/// Calls for every field of a file that is read here, in order: its number from 1, its headings, and the message.
pub(super) fn each_field(
    path: &Path,
    mut visit: impl FnMut(usize, Heading, SubMessage<'_, grib::SeekableGrib2Reader<BufReader<File>>>),
) -> Result<usize, FileError> {
    let file = File::open(path).map_err(|e| FileError::unreadable(path, &e))?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        let why = std::io::Error::other("it is a directory");
        return Err(FileError::unreadable(path, &why));
    }
    let shown = path.display();
    let whole = guarded(|| grib::from_reader(BufReader::new(file)).map_err(|e| e.to_string()))
        .and_then(|whole| {
            if whole.is_empty() {
                Err("there is no message in it".to_owned())
            } else {
                Ok(whole)
            }
        })
        .map_err(|why| {
            if !is_grib(path) {
                return unusable(
                    path,
                    format!("{shown} is not GRIB2: it does not begin with GRIB"),
                    "give a GRIB2 file, not compressed; a bulletin is named in weather.bulletins",
                );
            }
            let short = ["failed to fill whole buffer", "Unexpected end of data"];
            let why = if short.iter().any(|words| why.contains(words)) {
                "it ends in the middle of a message".to_owned()
            } else {
                why
            };
            unusable(
                path,
                format!("cannot read {shown} as GRIB2: {why}"),
                "fetch the file again; it must be GRIB edition 2, whole, and not compressed",
            )
        })?;
    let mut count = 0;
    for (_, message) in &whole {
        count += 1;
        if let Ok(Some(heading)) = guarded(|| Ok(heading(&message))) {
            visit(count, heading, message);
        }
    }
    Ok(count)
}
