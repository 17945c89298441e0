//! The rooms and floors of the house, as data: a module names only lower floors, and on its own
//! floor only itself. Fails on an upward import with file and line.
#![expect(clippy::unwrap_used, reason = "a test may stop at the first failure")]

use std::fs;
use std::path::{Path, PathBuf};

/// Floor, room, what it holds. Change this table when a better house appears; never go around it.
const FLOORS: &[(u8, &str)] = &[
    (0, "limits"),
    (1, "model"),
    (2, "clock"),
    (1, "standards"),
    (2, "normalise"),
    (2, "visits"),
    (2, "trend"),
    (2, "invent"),
    (3, "store"),
    (3, "sources"),
    (3, "notify"),
    (4, "intake"),
    (4, "registry"),
    (4, "dossier"),
    (5, "watch"),
    (5, "bench"),
    (5, "lab"),
    (5, "report"),
    (5, "export"),
    (5, "replay"),
    (5, "score"),
    (6, "config"),
    (6, "web"),
    (7, "daemon"),
    (8, "cli"),
];

/// What a room must never contain, with the reason.
const NEVER: &[(&str, &str, &str)] = &[
    ("model", "serde", "wire types live at the edge and are converted by hand"),
    ("model", "rusqlite", "the store speaks domain words"),
    ("trend", "std::fs", "the trend is a function of points and settings"),
    ("trend", "tracing", "the trend is a function of points and settings"),
    ("visits", "std::fs", "visits are derived, pure"),
    ("normalise", "std::fs", "normalising is pure"),
    ("standards", "std::fs", "formulas and tables only"),
];

#[test]
fn modules_name_only_lower_floors() {
    let src = root().join("src");
    let mut wrong = Vec::new();
    let mut seen = 0;
    for file in files(&src) {
        let room = room_of(&src, &file);
        if room == "lib" || room == "main" {
            continue;
        }
        let Some(floor) = floor(&room) else {
            wrong.push(format!("{}: room `{room}` is not in the floor table", file.display()));
            continue;
        };
        let text = fs::read_to_string(&file).unwrap();
        for (n, line) in text.lines().enumerate() {
            if line.trim_start().starts_with("//") {
                continue;
            }
            for named in rooms_named(line) {
                seen += 1;
                // A room's own tests may stand on the invented fleets.
                if named == "invent" && is_test(&file) {
                    continue;
                }
                match self::floor(&named) {
                    Some(other) if named == room || other < floor => {}
                    Some(other) => wrong.push(format!(
                        "{}:{}: `{room}` (floor {floor}) names `{named}` (floor {other})",
                        file.display(),
                        n + 1
                    )),
                    None => {}
                }
            }
        }
    }
    assert!(seen > 20, "the check found hardly any import: is it still looking at the source?");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn rooms_stay_clear_of_what_they_must_never_hold() {
    let src = root().join("src");
    let mut wrong = Vec::new();
    for file in files(&src) {
        let room = room_of(&src, &file);
        let text = fs::read_to_string(&file).unwrap();
        for (r, word, why) in NEVER.iter().filter(|(r, _, _)| *r == room) {
            for (n, line) in text.lines().enumerate() {
                if !line.trim_start().starts_with("//") && line.contains(word) {
                    let at = format!("{}:{}", file.display(), n + 1);
                    wrong.push(format!("{at}: `{r}` names `{word}` ({why})"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn parsers_name_nothing_of_ours_and_do_no_io() {
    for file in files(&root().join("parsers/src")) {
        let text = fs::read_to_string(&file).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        for (n, line) in code.lines().enumerate() {
            let found = ["ohmward::", "std::fs", "std::net", "SystemTime", "Timestamp::now"]
                .into_iter()
                .find(|word| !line.trim_start().starts_with("//") && line.contains(word));
            assert_eq!(found, None, "{}:{}", file.display(), n + 1);
        }
    }
}

#[test]
fn every_file_says_first_what_it_is_for() {
    for folder in ["src", "parsers/src", "tests", "benches"] {
        for file in files(&root().join(folder)) {
            let text = fs::read_to_string(&file).unwrap();
            assert!(text.starts_with("//!"), "{}: the first line is not a `//!`", file.display());
        }
    }
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn floor(room: &str) -> Option<u8> {
    FLOORS.iter().find(|(_, name)| *name == room).map(|(floor, _)| *floor)
}

fn is_test(file: &Path) -> bool {
    file.file_name().unwrap().to_string_lossy().ends_with("tests.rs")
}

fn room_of(src: &Path, file: &Path) -> String {
    let inner = file.strip_prefix(src).unwrap();
    let first = inner.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
    first.trim_end_matches(".rs").to_owned()
}

/// The rooms that a line of code names as `crate::room`, also in braces.
fn rooms_named(line: &str) -> Vec<String> {
    let word = |s: &str| {
        s.trim_start()
            .chars()
            .take_while(|c| c.is_ascii_alphanumeric() || *c == '_')
            .collect::<String>()
    };
    let mut rooms = Vec::new();
    for after in line.split("crate::").skip(1) {
        match after.strip_prefix('{') {
            Some(list) => rooms.extend(list.split(',').map(word)),
            None => rooms.push(word(after)),
        }
    }
    rooms
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut out = Vec::new();
    let Ok(entries) = fs::read_dir(folder) else { return out };
    for entry in entries {
        let path = entry.unwrap().path();
        if path.is_dir() {
            out.extend(files(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
    out.sort();
    out
}
