//! Where answers go: checked before the work, written beside the target, renamed when all is written.

use super::{Failure, interrupt};
use std::fs::{self, Permissions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::NamedTempFile;

/// One output as typed: a path, or `-` for standard output.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    /// Standard output.
    Stdout,
    /// A file.
    File(PathBuf),
}

impl Target {
    /// From the command line.
    pub fn new(path: &Path) -> Self {
        if path.as_os_str() == "-" {
            Self::Stdout
        } else {
            Self::File(path.to_owned())
        }
    }

    /// The extension in lower case.
    pub fn extension(&self) -> Option<String> {
        match self {
            Self::Stdout => None,
            Self::File(p) => p.extension().map(|e| e.to_string_lossy().to_lowercase()),
        }
    }
}

/// An output that is known to be writable; until [`commit`] its target is as it was.
#[derive(Debug)]
pub struct Output {
    place: Place,
}

#[derive(Debug)]
enum Place {
    Stdout,
    File {
        temporary: NamedTempFile,
        path: PathBuf,
        /// As typed, for messages: `path` has links followed.
        typed: PathBuf,
    },
}

fn cannot(path: &Path, why: impl std::fmt::Display) -> Failure {
    Failure::input(format!("cannot write {}: {why}", path.display()))
}

/// A file that cannot be written, by what the system says.
fn refused(path: &Path, why: &io::Error) -> Failure {
    use io::ErrorKind as Kind;
    let (what, hint) = match why.kind() {
        Kind::NotFound => (
            "its folder does not exist",
            "make the folder first, or give another path",
        ),
        Kind::NotADirectory => ("what should be its folder is a file", "give another path"),
        Kind::PermissionDenied => (
            "that is not permitted",
            "give a path in a folder of your own",
        ),
        Kind::ReadOnlyFilesystem => (
            "its file system is read-only",
            "give a path in a folder of your own",
        ),
        Kind::StorageFull | Kind::QuotaExceeded => (
            "the disk is full",
            "make room, or give a path on another disk; nothing was changed",
        ),
        Kind::FileTooLarge => (
            "files may not grow so large here",
            "lift the limit of the shell (ulimit -f), or give a path on another disk; nothing was changed",
        ),
        _ => return cannot(path, why).hint("give another path"),
    };
    cannot(path, what).hint(hint)
}

#[cfg(unix)]
fn new_file_permissions() -> Option<Permissions> {
    use std::os::unix::fs::PermissionsExt;
    // What a freshly created file gets; the umask takes its part.
    Some(Permissions::from_mode(0o666))
}

#[cfg(not(unix))]
fn new_file_permissions() -> Option<Permissions> {
    None
}

/// Checks that every target can be written and opens a temporary file beside each. `inputs` are the files that the command reads: none
/// of them may be written over.
///
/// # Errors
/// A target that is an input, is a folder, is written twice, lies in no folder or cannot be written.
pub fn open(targets: &[Target], inputs: &[&Path]) -> Result<Vec<Output>, Failure> {
    interrupt::watch();
    let inputs: Vec<PathBuf> = inputs
        .iter()
        .filter_map(|p| fs::canonicalize(p).ok())
        .collect();
    let mut seen: Vec<Option<PathBuf>> = Vec::new();
    let mut outputs = Vec::new();
    for target in targets {
        let Target::File(typed) = target else {
            if seen.contains(&None) {
                return Err(
                    Failure::input("two outputs cannot both go to standard output (-)")
                        .hint("give one of them a file"),
                );
            }
            seen.push(None);
            outputs.push(Output {
                place: Place::Stdout,
            });
            continue;
        };
        // A link is followed, so that the file it names is replaced and not the link.
        let path = fs::canonicalize(typed).unwrap_or_else(|_| typed.clone());
        if inputs.contains(&path) {
            return Err(cannot(typed, "it is an input of this very command")
                .hint("give the output another name"));
        }
        let existing = match fs::metadata(&path) {
            Ok(m) if m.is_dir() => {
                return Err(cannot(typed, "it is a folder").hint("give the path of a file"));
            }
            Ok(m) if !m.is_file() => {
                return Err(
                    cannot(typed, "it is not an ordinary file").hint("use - for standard output")
                );
            }
            Ok(m) if m.permissions().readonly() => {
                return Err(cannot(typed, "it is read-only")
                    .hint("give another path, or allow writing to it first"));
            }
            Ok(m) => Some(m.permissions()),
            Err(e) if e.kind() == io::ErrorKind::NotFound => None,
            Err(e) => return Err(refused(typed, &e)),
        };
        let Some(name) = path.file_name() else {
            return Err(cannot(typed, "it names no file").hint("give the path of a file"));
        };
        let folder = match path.parent() {
            Some(p) if !p.as_os_str().is_empty() => p.to_owned(),
            _ => PathBuf::from("."),
        };
        let known = fs::canonicalize(&folder)
            .map_err(|e| refused(typed, &e))?
            .join(name);
        if seen.contains(&Some(known.clone())) {
            return Err(Failure::input(format!(
                "two outputs cannot both go to {}",
                typed.display()
            ))
            .hint("give each a file of its own"));
        }
        seen.push(Some(known));
        let mut builder = tempfile::Builder::new();
        builder.prefix(".fellrun-");
        let permissions = existing.or_else(new_file_permissions);
        if let Some(p) = permissions {
            builder.permissions(p);
        }
        let temporary = builder
            .tempfile_in(&folder)
            .map_err(|e| refused(typed, &e))?;
        interrupt::remember(temporary.path());
        outputs.push(Output {
            place: Place::File {
                temporary,
                path,
                typed: typed.clone(),
            },
        });
    }
    Ok(outputs)
}

/// Writes every output, then renames: files first, standard output last.
///
/// # Errors
/// The first output that cannot be written; no target is touched before all temporary files are written.
pub fn commit(outputs: Vec<Output>, contents: &[Vec<u8>]) -> Result<(), Failure> {
    let mut written = Vec::new();
    let mut stdout = None;
    for (output, bytes) in outputs.into_iter().zip(contents) {
        match output.place {
            Place::Stdout => stdout = Some(bytes),
            Place::File {
                mut temporary,
                path,
                typed,
            } => {
                temporary
                    .write_all(bytes)
                    .and_then(|()| temporary.as_file().sync_all())
                    .map_err(|e| refused(&typed, &e))?;
                written.push((temporary, path, typed));
            }
        }
    }
    for (temporary, path, typed) in written {
        temporary
            .persist(&path)
            .map_err(|e| refused(&typed, &e.error))?;
    }
    match stdout {
        Some(bytes) => to_stdout(bytes),
        None => Ok(()),
    }
}

/// Writes one output as it is made, without holding it in memory, then renames.
///
/// # Errors
/// What `write` failed with, or the rename; the target is not touched. A reader of standard output that has gone away is not an error.
pub fn stream(
    output: Output,
    write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), Failure> {
    match output.place {
        Place::Stdout => {
            let mut out = io::BufWriter::new(io::stdout().lock());
            quiet_on_broken_pipe(write(&mut out).and_then(|()| out.flush()))
        }
        Place::File {
            mut temporary,
            path,
            typed,
        } => {
            write(&mut temporary)
                .and_then(|()| temporary.flush())
                .and_then(|()| temporary.as_file().sync_all())
                .map_err(|e| refused(&typed, &e))?;
            temporary
                .persist(&path)
                .map_err(|e| refused(&typed, &e.error))?;
            Ok(())
        }
    }
}

/// The text for the reader: to standard output, or to standard error when one of the targets has taken that.
pub fn talk(text: &str, targets: &[Target]) -> Result<(), Failure> {
    if targets.contains(&Target::Stdout) {
        say(text);
        Ok(())
    } else {
        text_to_stdout(text)
    }
}

/// Talk besides the answer: to standard error. Nothing is left to do if it cannot be said.
pub fn say(text: &str) {
    let _ = anstream::stderr().write_all(text.as_bytes());
}

/// Writes bytes to standard output as they are. A reader that has gone away is not an error.
pub fn to_stdout(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    quiet_on_broken_pipe(out.write_all(bytes).and_then(|()| out.flush()))
}

/// Writes text with its ANSI codes to standard output, or without them where they are not wanted.
pub fn text_to_stdout(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    quiet_on_broken_pipe(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

fn quiet_on_broken_pipe(result: io::Result<()>) -> Result<(), Failure> {
    match result {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => Err(match e.kind() {
            io::ErrorKind::StorageFull => {
                Failure::input("cannot write to standard output: the disk is full")
                    .hint("make room, or send it elsewhere")
            }
            _ => Failure::input(format!("cannot write to standard output: {e}")),
        }),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder() -> tempfile::TempDir {
        tempfile::tempdir().expect("a temporary folder")
    }

    #[test]
    fn closed_form_nothing_is_touched_before_commit() {
        let dir = folder();
        let path = dir.path().join("plan.json");
        fs::write(&path, "old").expect("writes");
        let outputs = open(&[Target::new(&path)], &[]).expect("writable");
        assert_eq!(fs::read_to_string(&path).expect("reads"), "old");
        drop(outputs);
        assert_eq!(fs::read_to_string(&path).expect("reads"), "old");
        assert_eq!(
            fs::read_dir(dir.path()).expect("lists").count(),
            1,
            "no temporary file is left"
        );
        let outputs = open(&[Target::new(&path)], &[]).expect("writable");
        commit(outputs, &[b"new".to_vec()]).expect("writes");
        assert_eq!(fs::read_to_string(&path).expect("reads"), "new");
        assert_eq!(fs::read_dir(dir.path()).expect("lists").count(), 1);
    }

    #[test]
    fn closed_form_bad_targets_are_refused() {
        let dir = folder();
        let file = dir.path().join("a.svg");
        for (targets, words) in [
            (vec![Target::new(dir.path())], "folder"),
            (
                vec![Target::new(&dir.path().join("none/a.svg"))],
                "cannot write",
            ),
            (
                vec![Target::new(&file), Target::new(&dir.path().join("./a.svg"))],
                "both",
            ),
            (vec![Target::Stdout, Target::Stdout], "standard output"),
        ] {
            let e = open(&targets, &[]).expect_err("refused");
            assert!(e.message.contains(words), "{}", e.message);
            assert_eq!(e.status(), 1);
        }
        assert_eq!(fs::read_dir(dir.path()).expect("lists").count(), 0);
    }
}
