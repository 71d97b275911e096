//! What happens when a run is stopped by Ctrl-C or ended from outside: temporary files are taken away, and the process ends as the
//! signal has it, so that a shell knows.

use std::path::Path;

#[cfg(unix)]
mod unix {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM, SIGXFSZ};
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;
    use std::path::{Path, PathBuf};
    use std::sync::atomic::AtomicBool;
    use std::sync::{Arc, Mutex, Once, PoisonError};

    /// Temporary files made so far; one that was renamed or taken away is no longer there under its name.
    static TEMPORARY: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());
    static WATCH: Once = Once::new();

    pub(super) fn remember(path: &Path) {
        let mut all = TEMPORARY.lock().unwrap_or_else(PoisonError::into_inner);
        all.push(path.to_owned());
    }

    pub(super) fn watch() {
        WATCH.call_once(|| {
            // With a handler of any kind a file that may not grow is an error of the write, which is told; without, it ends the process.
            let _ = signal_hook::flag::register(SIGXFSZ, Arc::new(AtomicBool::new(false)));
            // Where no handler can be had, a stopped run leaves its temporary files: nothing worse.
            let Ok(mut signals) = Signals::new([SIGINT, SIGTERM, SIGHUP]) else {
                return;
            };
            std::thread::spawn(move || {
                if let Some(signal) = signals.forever().next() {
                    let all = TEMPORARY.lock().unwrap_or_else(PoisonError::into_inner);
                    for path in all.iter() {
                        let _ = std::fs::remove_file(path);
                    }
                    let _ = emulate_default_handler(signal);
                }
            });
        });
    }
}

/// A temporary file that must not be left behind.
pub(super) fn remember(path: &Path) {
    #[cfg(unix)]
    unix::remember(path);
    #[cfg(not(unix))]
    let _ = path;
}

/// From now on a run that is stopped leaves nothing behind.
pub(super) fn watch() {
    #[cfg(unix)]
    unix::watch();
}
