//! README.md and DEVELOPERS.md against the program: commands run, excerpts are what is printed, arrows point down.

use assert_cmd::Command;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).expect("a file of the repository")
}

/// Blocks of a language in a Markdown text, each with the last line of text before it.
fn blocks(text: &str, language: &str) -> Vec<(String, String)> {
    let (mut out, mut before, mut inside) = (Vec::new(), String::new(), None::<(bool, String)>);
    for line in text.lines() {
        match (&mut inside, line.strip_prefix("```")) {
            (None, Some(name)) => inside = Some((name == language, String::new())),
            (None, None) if !line.is_empty() => before = line.to_owned(),
            (None, None) => {}
            (Some((wanted, body)), Some(_)) => {
                if *wanted {
                    out.push((before.clone(), std::mem::take(body)));
                }
                inside = None;
            }
            (Some((_, body)), None) => {
                body.push_str(line);
                body.push('\n');
            }
        }
    }
    out
}

/// Copies of the demo files.
fn demo_files() -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a temporary folder");
    for folder in ["examples", "examples/weather", "profiles"] {
        fs::create_dir(dir.path().join(folder)).expect("a folder");
        for entry in fs::read_dir(root().join(folder)).expect("lists") {
            let path = entry.expect("an entry").path();
            if path.is_file() {
                let name = path.file_name().expect("a name");
                fs::copy(&path, dir.path().join(folder).join(name)).expect("copies");
            }
        }
    }
    dir
}

/// Runs the command with these arguments among copies of the demo files; what it prints.
fn fellrun(arguments: &str) -> String {
    fellrun_in(demo_files().path(), arguments)
}

/// The same in a folder. Words in quotes are one argument.
fn fellrun_in(folder: &Path, arguments: &str) -> String {
    let pieces = arguments.split('"').enumerate();
    let words = pieces.flat_map(|(i, piece)| -> Vec<&str> {
        if i % 2 == 1 {
            vec![piece]
        } else {
            piece.split_whitespace().collect()
        }
    });
    let out = Command::cargo_bin("fellrun")
        .expect("the binary of this crate")
        .args(words)
        .current_dir(folder)
        .output()
        .expect("starts");
    assert!(
        out.status.success(),
        "fellrun {arguments}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
    String::from_utf8(out.stdout).expect("UTF-8")
}

#[test]
fn closed_form_commands_of_the_readme_run() {
    let mut ran = 0;
    for (_, block) in blocks(&read("README.md"), "sh") {
        for line in block.lines().filter(|l| *l != "cargo test") {
            let arguments = line
                .strip_prefix("cargo run --release -- ")
                .unwrap_or_else(|| panic!("not a command this test knows: {line}"));
            fellrun(arguments);
            ran += 1;
        }
    }
    assert!(ran >= 4, "only {ran} commands were run");
}

/// The lesson, command after command in one folder, for the last mark what an earlier one wrote.
#[test]
fn closed_form_commands_of_the_lesson_run() {
    let dir = demo_files();
    let mut ran = 0;
    for (_, block) in blocks(&read("examples/lesson.md"), "sh") {
        for line in block.lines() {
            let arguments = line
                .strip_prefix("cargo run --release -- ")
                .unwrap_or_else(|| panic!("not a command this test knows: {line}"));
            let printed = fellrun_in(dir.path(), arguments);
            assert!(printed.contains("flight manual"), "{line} cautions");
            ran += 1;
        }
    }
    assert!(ran >= 6, "only {ran} commands were run");
    for file in ["sheet.html", "key.html", "levers.svg", "order.svg"] {
        assert!(dir.path().join(file).exists(), "{file}");
    }
}

#[test]
fn regress_excerpts_of_the_readme_are_what_is_printed() {
    // Pins what the README shows; when numbers move on purpose, paste what the command in the comment prints now.
    let mut checked = 0;
    for (before, block) in blocks(&read("README.md"), "text") {
        let arguments = before
            .strip_prefix("<!-- excerpt: ")
            .and_then(|rest| rest.strip_suffix(" -->"))
            .expect("a text block is headed by the command that prints it");
        let printed = fellrun(arguments);
        assert!(
            printed.contains(&block),
            "fellrun {arguments} prints now:\n{printed}"
        );
        checked += 1;
    }
    assert_eq!(checked, 6);
}

/// Every Rust file under a folder.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut out = Vec::new();
    for entry in fs::read_dir(folder).expect("lists") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            out.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
    out
}

/// Cargo finds test files by itself no longer (Cargo.toml): one that is no module of a test binary would never run.
#[test]
fn closed_form_every_file_of_tests_is_in_a_binary() {
    const BINARIES: [&str; 2] = ["quick", "whole"];
    let modules: String = BINARIES
        .iter()
        .map(|b| read(&format!("tests/{b}.rs")))
        .collect();
    let mut seen = 0;
    for entry in fs::read_dir(root().join("tests")).expect("lists") {
        let path = entry.expect("an entry").path();
        let Some(name) = path.file_stem().and_then(|n| n.to_str()) else {
            continue;
        };
        if path.extension().is_none_or(|e| e != "rs") || BINARIES.contains(&name) {
            continue;
        }
        assert!(
            modules.lines().any(|line| line == format!("mod {name};")),
            "tests/{name}.rs: name it in tests/whole.rs"
        );
        seen += 1;
    }
    assert!(seen > 50, "only {seen} files were seen");
}

/// What each module may use: the table of DEVELOPERS.md.
const MAY_USE: [(&str, &[&str]); 14] = [
    ("quantity", &[]),
    ("air", &["quantity"]),
    ("earth", &["quantity"]),
    ("aircraft", &["air", "earth", "quantity"]),
    ("tables", &["aircraft", "air", "earth", "quantity"]),
    (
        "teach",
        &["tables", "trip", "aircraft", "air", "earth", "quantity"],
    ),
    ("fit", &["aircraft", "air", "earth", "quantity"]),
    ("trip", &["aircraft", "air", "earth", "quantity"]),
    ("flight", &["trip", "aircraft", "air", "earth", "quantity"]),
    (
        "reflight",
        &["flight", "trip", "aircraft", "air", "earth", "quantity"],
    ),
    (
        "solve",
        &[
            "reflight", "flight", "trip", "aircraft", "air", "earth", "quantity",
        ],
    ),
    (
        "files",
        &["fit", "trip", "aircraft", "air", "earth", "quantity"],
    ),
    (
        "brief",
        &[
            "tables", "teach", "solve", "reflight", "flight", "trip", "aircraft", "air", "earth",
            "quantity",
        ],
    ),
    (
        "cli",
        &[
            "fit", "brief", "files", "tables", "teach", "solve", "reflight", "flight", "trip",
            "aircraft", "air", "earth", "quantity",
        ],
    ),
];

#[test]
fn closed_form_arrows_point_down() {
    let mut seen = 0;
    for (module, may_use) in MAY_USE {
        for path in sources(&root().join("src").join(module)) {
            let text = fs::read_to_string(&path).expect("reads");
            assert!(
                !text.contains("crate::{"),
                "{}: import module by module",
                path.display()
            );
            for rest in text.split("crate::").skip(1) {
                let used: String = rest
                    .chars()
                    .take_while(|c| c.is_ascii_lowercase() || *c == '_')
                    .collect();
                // a module, and not a name within this one
                if used != module && MAY_USE.iter().any(|(m, _)| *m == used) {
                    assert!(
                        may_use.contains(&used.as_str()),
                        "{} uses {used}, which {module} may not",
                        path.display()
                    );
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 100, "only {seen} uses were seen");
    let folders = fs::read_dir(root().join("src")).expect("lists");
    let count = folders
        .filter(|e| e.as_ref().is_ok_and(|e| e.path().is_dir()))
        .count();
    assert_eq!(count, MAY_USE.len(), "a module is missing from the table");
}

#[test]
fn closed_form_dependencies_are_those_explained_and_folders_those_mapped() {
    let developers = read("DEVELOPERS.md");
    let manifest: toml::Table = read("Cargo.toml").parse().expect("TOML");
    let mut named: Vec<String> = Vec::new();
    for section in ["dependencies", "dev-dependencies"] {
        named.extend(
            manifest[section]
                .as_table()
                .expect("a table")
                .keys()
                .cloned(),
        );
    }
    let chapter = developers
        .split("\n## ")
        .find(|c| c.starts_with("Dependencies"))
        .expect("a chapter on dependencies");
    // names stand in back quotes before the first colon of an entry, or anywhere in the entry on tests
    let mut explained: Vec<String> = Vec::new();
    for entry in chapter.split("\n* ").skip(1) {
        let end = if entry.starts_with("For tests") {
            entry.len()
        } else {
            entry.find(':').expect("a name, a colon, a reason")
        };
        explained.extend(
            entry[..end]
                .split('`')
                .skip(1)
                .step_by(2)
                .map(str::to_owned),
        );
    }
    named.sort();
    explained.sort();
    assert!(named.len() > 20);
    assert_eq!(named, explained, "Cargo.toml against DEVELOPERS.md");
    for (module, _) in MAY_USE {
        assert!(
            developers.contains(&format!("`src/{module}/`")),
            "{module} is not on the map"
        );
    }
}
