//! Who may import whom: reads the sources and holds the floors of the house.

use std::fs;
use std::path::{Path, PathBuf};

/// Every floor with the floors whose names it may use. `lib.rs`, the front door, names them all; the floor above it,
/// `python`, uses what stands in the door as well.
const FLOORS: [(&str, &[&str]); 12] = [
    ("error", &[]),
    ("units", &[]),
    ("numeric", &[]),
    ("film", &["error", "units", "numeric"]),
    ("model", &["error", "units", "numeric", "film"]),
    ("trace", &["error", "units", "numeric", "film", "model"]),
    ("wave", &["error", "units", "numeric", "film", "model", "trace"]),
    ("view", &["error", "units", "numeric", "film", "model", "trace", "wave"]),
    ("structure", &["error", "units", "numeric", "film", "model", "trace", "wave", "view"]),
    ("shop_test", &["error", "units", "numeric", "film", "model", "trace", "wave"]),
    (
        "judge",
        &["error", "units", "numeric", "film", "model", "trace", "wave", "view", "structure", "shop_test"],
    ),
    (
        "python",
        &[
            "error",
            "units",
            "numeric",
            "film",
            "model",
            "trace",
            "wave",
            "view",
            "structure",
            "shop_test",
            "judge",
        ],
    ),
];

struct Source {
    path: PathBuf,
    text: String,
}

impl Source {
    /// Path from `src`, without the ending: its parts name the module.
    fn module(&self) -> Vec<String> {
        let name = |part: std::path::Component<'_>| part.as_os_str().to_string_lossy().replace(".rs", "");
        let mut parts: Vec<String> = self.path.components().map(name).collect();
        parts.retain(|p| p != "mod");
        parts
    }

    fn floor(&self) -> String {
        self.module()[0].clone()
    }

    /// Whether it is the unit tests of the room that it stands beside.
    fn is_test(&self) -> bool {
        self.path.ends_with("tests.rs")
    }

    /// The text without comments; a text literal with `//` in it would be cut short, which hides nothing here.
    fn code(&self) -> String {
        let lines = self.text.lines().map(|line| line.split("//").next().unwrap_or(""));
        lines.collect::<Vec<_>>().join("\n")
    }
}

fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut sources = Vec::new();
    let mut folders = vec![root.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder of sources") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = fs::read_to_string(&path).expect("a source");
                let path = path.strip_prefix(&root).expect("within src").to_path_buf();
                sources.push(Source { path, text });
            }
        }
    }
    assert!(sources.len() > 20, "only {} sources found", sources.len());
    sources
}

/// First names after `beginning` in a code: of a path the next part, of a list in braces the first part of each item.
fn names_after(code: &str, beginning: &str) -> Vec<String> {
    let is_word = |c: char| c.is_alphanumeric() || c == '_';
    let mut names = Vec::new();
    for (at, _) in code.match_indices(beginning) {
        // `super::` within `super::super::` is not a beginning, nor is the end of a longer word.
        let before = &code[..at];
        if before.ends_with(is_word) || before.ends_with("::") {
            continue;
        }
        let rest = &code[at + beginning.len()..];
        if let Some(list) = rest.strip_prefix('{') {
            let mut depth = 1;
            let mut starts = true;
            let mut name = String::new();
            for c in list.chars() {
                match c {
                    '{' => depth += 1,
                    '}' => depth -= 1,
                    _ => {}
                }
                if depth == 1 && is_word(c) && starts {
                    name.push(c);
                } else if !name.is_empty() {
                    names.push(std::mem::take(&mut name));
                    starts = false;
                }
                if depth == 1 && c == ',' {
                    starts = true;
                }
                if depth == 0 {
                    break;
                }
            }
        } else {
            names.push(rest.chars().take_while(|&c| is_word(c)).collect());
        }
    }
    names
}

/// The floors that a source names: by `crate::`, or by enough `super::` to reach the crate's root.
fn floors_named(source: &Source) -> Vec<String> {
    let code = source.code();
    let mut named = names_after(&code, "crate::");
    // A unit test module within a file is one level deeper: from there one `super` more is needed.
    let depth = source.module().len();
    for supers in depth..depth + 2 {
        let from_root = names_after(&code, &"super::".repeat(supers));
        named.extend(from_root.into_iter().filter(|name| FLOORS.iter().any(|(floor, _)| floor == name)));
    }
    named
}

#[test]
fn the_reader_of_imports_sees_what_it_should() {
    let code = "use crate::wave::Psf;\nuse crate::{error::{Error, Result}, units};\nlet x: crate::model::Train = y;\n\
                use super::super::judge::Verdict;\nuse mycrate::nothing;";
    assert_eq!(names_after(code, "crate::"), ["wave", "error", "units", "model"]);
    assert_eq!(names_after(code, "super::super::"), ["judge"]);
    let path = PathBuf::from("trace/light.rs");
    let source = Source { path, text: "use super::super::wave::Psf; // use crate::judge\n".to_owned() };
    assert_eq!(source.module(), ["trace", "light"]);
    assert_eq!(floors_named(&source), ["wave"]);
}

#[test]
fn every_floor_stands_on_lower_ones_only() {
    let mut wrong = Vec::new();
    for source in sources().iter().filter(|s| s.floor() != "lib") {
        let floor = source.floor();
        let Some((_, allowed)) = FLOORS.iter().find(|(name, _)| *name == floor) else {
            wrong.push(format!("{} belongs to no floor", source.path.display()));
            continue;
        };
        let by_the_door = |name: &str| floor == "python" && FLOORS.iter().all(|(other, _)| *other != name);
        for name in floors_named(source) {
            if name != floor && !by_the_door(&name) && !allowed.contains(&name.as_str()) {
                wrong.push(format!("{} uses crate::{name}", source.path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn nothing_but_the_python_floor_mentions_python() {
    let mut wrong = Vec::new();
    for source in sources().iter().filter(|s| s.floor() != "python") {
        if source.is_test() {
            continue;
        }
        // A test may name in a comment who made its golden number.
        let body = source.text.split("#[cfg(test)]").next().unwrap_or("");
        let tests = source.code()[..].split("#[cfg(test)]").skip(1).collect::<String>();
        for line in body.lines().chain(tests.lines()) {
            let lower = line.to_lowercase();
            let mentions = ["pyo3", "numpy", "python"].iter().any(|word| lower.contains(word));
            // The front door opens the floor, behind its feature.
            let door = ["#[cfg(feature = \"python\")]", "pub mod python;"].contains(&line.trim());
            if mentions && !(source.floor() == "lib" && door) {
                wrong.push(format!("{}: {}", source.path.display(), line.trim()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_front_door_holds_no_logic() {
    let door = sources().into_iter().find(|s| s.floor() == "lib").expect("lib.rs");
    // The one item of its own carries the README's examples into the documentation's tests.
    let code = door.code().replace("struct Readme;", "");
    for word in ["fn ", "struct ", "impl ", "enum ", "let "] {
        assert!(!code.contains(word), "lib.rs has `{word}`");
    }
}

#[test]
fn no_file_grows_beyond_six_hundred_lines() {
    for source in sources() {
        let lines = source.text.lines().count();
        assert!(lines <= 600, "{} has {lines} lines", source.path.display());
    }
}

#[test]
fn no_unsafe_code() {
    for source in sources() {
        let has =
            source.code().split(|c: char| !c.is_alphanumeric() && c != '_').any(|word| word == "unsafe");
        assert!(!has, "{}", source.path.display());
    }
}

#[test]
fn the_core_prints_nothing_and_reads_files_in_one_place() {
    for source in sources().iter().filter(|s| s.floor() != "python" && !s.is_test()) {
        // Unit tests may print.
        let code = source.code();
        let code = code.split("#[cfg(test)]").next().unwrap_or("");
        for word in ["println!", "eprintln!", "print!", "dbg!"] {
            assert!(!code.contains(word), "{} has {word}", source.path.display());
        }
        let reads = code.contains("std::fs") || code.contains("std::net");
        let may = source.path == Path::new("model/text.rs") || source.floor() == "shop_test";
        assert!(!reads || may, "{} opens files", source.path.display());
    }
}
