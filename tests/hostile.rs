//! Input that is wrong, odd or cut short, over every format, command and option: what a user is told.
//!
//! The cases stand in `tests/hostile/*.txt`, one file for each group, to be read from top to bottom. A case is its name after `## `, the
//! edits of its specimens, the command after `$ `, and what comes of it: the exit status, standard error indented by four blanks,
//! lines of standard output after `|` (all of them where the command fails, else as many as `show N` says), and the files written.
//! Edits are `FILE: OLD -> NEW`, `FILE is TEXT`, `FILE and TEXT` (at the end), `FILE cut to BYTES`, `FILE byte PLACE HEX`, `FILE crlf`,
//! `FILE bom` and `FILE read-only`, with `\n`, `\r`, `\t`, `\\` and `\xNN` in texts.
//!
//! Of every case it is held that the exit status is 0 or 1 (or that of a signal it was sent), that nothing panics, that a command that
//! fails leaves every file as it was and none behind, and that a refusal says a way out. The words are pinned besides; after a change
//! that is meant, `FELLRUN_KEEP_HOSTILE=1 cargo test --test whole hostile::` writes them anew: read the difference.
#![cfg(unix)]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Command, Stdio};

/// Specimens that are files of the repository; the others stand in `tests/hostile/specimens`.
const SPECIMENS: [(&str, &str); 7] = [
    ("trip.toml", "examples/first-trip.toml"),
    ("profile.toml", "profiles/retractable-200hp.toml"),
    ("trainer.toml", "profiles/trainer-160hp.toml"),
    ("turbo.toml", "profiles/turbo-retractable-300hp.toml"),
    (
        "winds.txt",
        "examples/weather/FBUS33_FD3US3_2026-01-31_310158Z.txt",
    ),
    ("handbook.toml", "examples/faa-65-percent.toml"),
    (
        "forecast.grib2",
        "tests/data/grib/gfs_2p5deg_20111008T00Z_f072_small_T_GH_UV.grib2",
    ),
];
/// A tile of flat ground at 1,000 m, made here: 1,201 by 1,201 posts.
const TILE: &str = "N34W102.hgt";
/// These are there in every case.
const ALWAYS: [&str; 4] = ["trip.toml", "profile.toml", "winds.txt", "table.toml"];
/// The catalogue has at least this many cases.
const LEAST_CASES: usize = 300;
/// Words of which a refusal has one: a way out, or what belongs there.
const WAYS_OUT: [&str; 11] = [
    "help: ",
    "hint: ",
    "expected ",
    "What would free it",
    ": give ",
    "; give ",
    "in the required range of ",
    "the thriftiest",
    "leave load or fuel behind",
    "For more information, try '--help'",
    "allows ",
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn specimen(name: &str) -> Option<Vec<u8>> {
    if name == TILE {
        return Some(1_000_i16.to_be_bytes().repeat(1_201 * 1_201));
    }
    let known = SPECIMENS.iter().find(|(n, _)| *n == name);
    let path = match known {
        Some((_, path)) => root().join(path),
        None => root().join("tests/hostile/specimens").join(name),
    };
    let bytes = fs::read(path).ok()?;
    if name != "trip.toml" {
        return Some(bytes);
    }
    let text = String::from_utf8(bytes).expect("the demo trip is text");
    let text = text.replace("../profiles/retractable-200hp.toml", "profile.toml");
    let text = text.replace("weather/FBUS33_FD3US3_2026-01-31_310158Z.txt", "winds.txt");
    Some(text.into_bytes())
}

fn unescaped(text: &str) -> Vec<u8> {
    let mut out = Vec::new();
    let mut rest = text.chars();
    while let Some(c) = rest.next() {
        if c != '\\' {
            out.extend(c.to_string().bytes());
            continue;
        }
        out.push(match rest.next() {
            Some('n') => b'\n',
            Some('r') => b'\r',
            Some('t') => b'\t',
            Some('\\') => b'\\',
            Some('x') => {
                let hex: String = rest.by_ref().take(2).collect();
                u8::from_str_radix(&hex, 16).expect("two figures after \\x")
            }
            other => panic!("no escape \\{other:?} in {text}"),
        });
    }
    out
}

fn find(bytes: &[u8], part: &[u8]) -> Option<usize> {
    bytes.windows(part.len()).position(|w| w == part)
}

/// Applies an edit of a file to its content.
fn edited(line: &str, mut content: Vec<u8>) -> (Vec<u8>, bool) {
    let (_, edit) = line.split_once([' ']).expect("a file and an edit");
    if line
        .split_once(": ")
        .is_some_and(|(file, _)| !file.contains(' '))
    {
        let (old, new) = edit.split_once(" -> ").expect("OLD -> NEW");
        let (old, new) = (unescaped(old), unescaped(new));
        let at = find(&content, &old).unwrap_or_else(|| panic!("not in the specimen: {line}"));
        content.splice(at..at + old.len(), new);
        return (content, false);
    }
    let (what, rest) = edit.split_once(' ').unwrap_or((edit, ""));
    match what {
        "is" => content = unescaped(rest),
        "and" => content.extend(unescaped(rest)),
        "cut" => {
            let length: usize = rest.trim_start_matches("to ").parse().expect("a length");
            assert!(length < content.len(), "nothing is cut: {line}");
            content.truncate(length);
        }
        "byte" => {
            let (place, hex) = rest.split_once(' ').expect("a place and a byte");
            let place: usize = place.parse().expect("a place");
            content[place] = u8::from_str_radix(hex, 16).expect("a byte in hex");
        }
        "crlf" => {
            let text = String::from_utf8(content).expect("text");
            content = text.replace('\n', "\r\n").into_bytes();
        }
        "bom" => content = ["\u{feff}".as_bytes(), &content].concat(),
        "read-only" => return (content, true),
        _ => panic!("no such edit: {line}"),
    }
    (content, false)
}

/// Every file under a folder, with what is in it.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    fn add(base: &Path, folder: &Path, all: &mut BTreeMap<String, Vec<u8>>) {
        for entry in fs::read_dir(folder).expect("lists") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                add(base, &path, all);
            } else {
                let name = path.strip_prefix(base).expect("inside").display();
                all.insert(name.to_string(), fs::read(&path).expect("reads"));
            }
        }
    }
    let mut all = BTreeMap::new();
    add(folder, folder, &mut all);
    all
}

/// A case as it stands in the catalogue.
struct Case {
    name: String,
    /// Edits, `show` and the command.
    asked: Vec<String>,
}

/// The words before the first case, and the cases.
fn cases(text: &str) -> (String, Vec<Case>) {
    let begin = text.find("\n## ").map_or(text.len(), |i| i + 1);
    let (head, rest) = text.split_at(begin);
    let cases = rest.split("## ").filter(|c| !c.is_empty()).map(|case| {
        let mut lines = case.lines();
        let name = lines.next().expect("a name").to_owned();
        let mut asked = Vec::new();
        for line in lines {
            asked.push(line.to_owned());
            if line.starts_with("$ ") {
                break;
            }
        }
        Case { name, asked }
    });
    (head.trim_end().to_owned(), cases.collect())
}

/// Runs a case; what comes of it in the words of the catalogue.
fn outcome(case: &Case) -> String {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    let whole = case.asked.join("\n");
    let others = fs::read_dir(root().join("tests/hostile/specimens")).expect("specimens");
    let others: Vec<String> = others
        .map(|e| e.expect("a specimen").file_name().display().to_string())
        .collect();
    let named = SPECIMENS.iter().map(|(name, _)| *name);
    let named = named.chain(others.iter().map(String::as_str)).chain([TILE]);
    for name in named.filter(|name| ALWAYS.contains(name) || whole.contains(name)) {
        fs::write(path(name), specimen(name).expect("a specimen")).expect("writes");
    }
    let (mut show, mut command) = (0, None);
    for line in &case.asked {
        if let Some(typed) = line.strip_prefix("$ ") {
            command = Some(typed);
        } else if let Some(count) = line.strip_prefix("show ") {
            show = count.parse().expect("a number of lines");
        } else {
            let file = line.split([':', ' ']).next().expect("a file");
            let (content, read_only) = edited(line, fs::read(path(file)).unwrap_or_default());
            fs::write(path(file), content).expect("writes");
            if read_only {
                fs::set_permissions(path(file), fs::Permissions::from_mode(0o444)).expect("sets");
            }
        }
    }
    let before = files(folder.path());
    let binary = Path::new(env!("CARGO_BIN_EXE_fellrun"));
    let binaries = binary.parent().expect("a folder").display();
    let out = Command::new("sh")
        .args(["-c", command.expect("a command")])
        .current_dir(folder.path())
        .env_clear()
        .env(
            "PATH",
            format!("{binaries}:{}", std::env::var("PATH").unwrap_or_default()),
        )
        .env("NO_COLOR", "1")
        .env("HOME", folder.path())
        .stdin(Stdio::null())
        .output()
        .expect("starts");
    let after = files(folder.path());
    let status = out.status.code().expect("the shell ends by itself");
    let err = String::from_utf8(out.stderr).expect("messages are text");
    let name = &case.name;
    let stopped = whole.contains("timeout ");
    assert!(
        matches!(status, 0 | 1) || stopped && status > 128,
        "{name}: exit {status}: {err}"
    );
    assert!(!err.contains("panicked"), "{name}: {err}");
    let left = after.keys().find(|f| f.contains(".fellrun-"));
    assert!(left.is_none(), "{name}: {left:?} is left behind");
    if status != 0 {
        assert_eq!(before, after, "{name}: files are not as they were");
        // an answer that the reader was not there for has no words
        let silent = stopped || whole.contains("2>&-") || err.starts_with("Plans a trip");
        let way_out = silent || WAYS_OUT.iter().any(|words| err.contains(words));
        assert!(way_out, "{name}: no way out is said: {err}");
    }
    let mut text = format!("exit {status}\n");
    for line in err.trim_end().lines() {
        // writing to a String cannot fail
        let _ = writeln!(text, "{}", format!("    {line}").trim_end());
    }
    let lines = String::from_utf8_lossy(&out.stdout).into_owned();
    let shown = if status == 0 { show } else { usize::MAX };
    for line in lines.lines().take(shown) {
        let _ = writeln!(text, "{}", format!("  | {line}").trim_end());
    }
    for (file, _) in after.iter().filter(|(f, c)| before.get(*f) != Some(c)) {
        let _ = writeln!(text, "wrote {file}");
    }
    text
}

/// Runs the cases of a group and compares, or writes the catalogue anew.
fn group(name: &str) {
    let path = root().join("tests/hostile").join(name);
    let text = fs::read_to_string(&path).expect("the catalogue");
    let (head, cases) = cases(&text);
    assert!(!cases.is_empty());
    let mut now = head + "\n";
    for case in &cases {
        let asked = case.asked.join("\n");
        // writing to a String cannot fail
        let _ = write!(now, "\n## {}\n{asked}\n{}", case.name, outcome(case));
    }
    if std::env::var_os("FELLRUN_KEEP_HOSTILE").is_some() {
        fs::write(&path, now).expect("writes");
        return;
    }
    // case by case, so that the first that differs is seen alone
    for (was, is) in text.split("\n## ").zip(now.split("\n## ")) {
        assert_eq!(was, is, "{name} (left: as kept, right: now)");
    }
    assert_eq!(text, now, "{name}");
}

/// One test for each group of the catalogue, so that they run side by side.
macro_rules! groups {
    ($($test:ident: $file:literal,)+) => {
        $(
            #[test]
            fn $test() {
                group($file);
            }
        )+

        #[test]
        fn closed_form_the_catalogue_is_whole() {
            let known = [$($file),+];
            let (mut count, mut found) = (0, 0);
            for entry in fs::read_dir(root().join("tests/hostile")).expect("lists") {
                let path = entry.expect("an entry").path();
                if path.extension().is_some_and(|e| e == "txt") {
                    let name = path.file_name().expect("a name").display().to_string();
                    assert!(known.contains(&name.as_str()), "{name} is run by no test");
                    let (_, cases) = cases(&fs::read_to_string(&path).expect("reads"));
                    let mut names: Vec<&String> = cases.iter().map(|c| &c.name).collect();
                    names.sort();
                    names.dedup();
                    assert_eq!(names.len(), cases.len(), "{name}: two cases of one name");
                    count += cases.len();
                    found += 1;
                }
            }
            assert_eq!(found, known.len());
            assert!(count >= LEAST_CASES, "{count} cases");
        }
    };
}

groups! {
    regress_trips: "trip.txt",
    regress_profiles: "profile.txt",
    regress_weather: "weather.txt",
    regress_places: "places.txt",
    regress_numbers: "numbers.txt",
    regress_options: "options.txt",
    regress_outputs: "outputs.txt",
}
