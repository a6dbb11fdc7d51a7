//! Who may know whom: crates, libraries, and the doors to the world.

use crate::tree::{CRATES, File, file, files, none};

/// Folder of a crate, crates of ours that it may use, and those that only its tests may use.
const ARROWS: [(&str, &[&str], &[&str]); 11] = [
    ("logger/capture", &[], &[]),
    ("logger", &["capture"], &[]),
    ("analyze/driveline", &[], &[]),
    ("analyze", &["capture", "driveline"], &["rig"]),
    ("analyze/archive", &["analyze", "capture"], &[]),
    ("analyze/tables", &["analyze"], &["driveline"]),
    (
        "analyze/app",
        &["capture", "logger", "driveline", "analyze", "archive", "tables", "rig"],
        &["capture", "rig"],
    ),
    ("fixtures/rig", &["driveline"], &[]),
    (
        "tests",
        &["capture", "logger", "driveline", "analyze", "tables", "rig", ""],
        &["capture", "logger", "driveline", "analyze", "tables", "rig", ""],
    ),
    ("tests/faults", &["capture", "logger"], &[]),
    ("tests/fuzz", &["capture", "logger", "driveline", "analyze", "archive"], &[]),
];

/// Libraries, with all that begin with their name, that are the business of some crates only.
const LIBRARIES: [(&str, &[&str]); 9] = [
    ("polars", &["analyze/tables"]),
    ("plotters", &["analyze"]),
    ("tar", &["analyze/archive"]),
    ("tokio", &["logger", "tests/faults"]),
    ("nix", &["logger", "fixtures/rig", "analyze/app", "tests/faults", "tests/fuzz"]),
    ("socketcan", &["logger", "fixtures/rig"]),
    ("nalgebra", &["analyze/driveline"]),
    ("libfuzzer-sys", &["tests/fuzz"]),
    ("crc32c", &["logger/capture", "tests/fuzz"]),
];

/// Words of the outside world, which analysis and physics must not know.
const WORLD: [&str; 6] =
    ["std::net", "SystemTime", "Instant::now", "process::Command", "std::env::", "thread::sleep"];

/// What a manifest depends on: section, name.
fn dependencies(folder: &str) -> Vec<(String, String)> {
    let manifest = file(&format!("{folder}/Cargo.toml"));
    let mut section = String::new();
    let mut all = Vec::new();
    for (_, line) in manifest.lines() {
        if let Some(name) = line.strip_prefix('[').and_then(|l| l.strip_suffix(']')) {
            section = name.to_string();
        } else if section.ends_with("dependencies") && line.contains('=') {
            let name = line.split(['.', ' ', '=']).next().unwrap_or(line);
            all.push((section.clone(), name.to_string()));
        }
    }
    all
}

/// A crate of ours by its short name: `capture`; the program itself has none.
fn ours(name: &str) -> Option<&str> {
    name.strip_prefix("wheelwitness").map(|rest| rest.strip_prefix('-').unwrap_or(rest))
}

#[test]
fn crates_use_only_those_that_their_arrows_allow() {
    let mut bad = Vec::new();
    let mut seen = 0;
    for (folder, always, in_tests) in ARROWS {
        for (section, name) in dependencies(folder) {
            let Some(short) = ours(&name) else { continue };
            seen += 1;
            let allowed = if section == "dev-dependencies" {
                always.contains(&short) || in_tests.contains(&short)
            } else {
                always.contains(&short)
            };
            if !allowed {
                bad.push(format!("{folder}: {section}: {name}"));
            }
        }
    }
    assert!(seen >= 10, "found {seen} arrows only: the rule no longer sees them");
    none("arrows that the plan does not have", bad);
}

#[test]
fn libraries_stay_in_their_crates() {
    let mut bad = Vec::new();
    for (folder, _) in CRATES {
        for (_, name) in dependencies(folder) {
            let of = |library: &str| name == library || name.starts_with(&format!("{library}-"));
            let business = LIBRARIES.iter().find(|(library, _)| of(library));
            if business.is_some_and(|(_, folders)| !folders.contains(&folder)) {
                bad.push(format!("{folder}: {name}"));
            }
        }
    }
    none("libraries outside their crates", bad);
}

#[test]
fn versions_are_chosen_once() {
    let mut bad = Vec::new();
    for (folder, _) in CRATES {
        let manifest = file(&format!("{folder}/Cargo.toml"));
        let chosen = manifest.lines().filter(|(_, l)| l.contains("version = \""));
        bad.extend(chosen.map(|(n, l)| format!("{folder}/Cargo.toml:{n}: {l}")));
    }
    none("versions outside the root manifest", bad);
}

/// Code below some folders, without what stands in comments and in test modules.
fn code_below(folders: &[&str]) -> Vec<File> {
    let inside = |f: &File| folders.iter().any(|d| f.path.starts_with(&format!("{d}/src/")));
    files().into_iter().filter(|f| f.is_code() && inside(f)).collect()
}

#[test]
fn analysis_and_physics_have_no_clock_no_socket_and_no_surroundings() {
    let mut bad = Vec::new();
    for f in code_below(&["analyze", "analyze/archive", "analyze/driveline"]) {
        for (n, line) in f.lines().filter(|(_, l)| !l.trim_start().starts_with("//")) {
            let word = WORLD.iter().find(|w| line.contains(**w));
            bad.extend(word.map(|w| format!("{}:{n}: {w}", f.path)));
        }
    }
    none("doors to the world inside the analysis", bad);
}

#[test]
fn physics_and_decoders_open_no_files() {
    let door = |f: &File| f.path.starts_with("logger/capture/src/storage/");
    let mut bad = Vec::new();
    for f in code_below(&["analyze/driveline", "logger/capture"]) {
        let opens = |l: &str| l.contains("std::fs") && !l.trim_start().starts_with("//");
        let lines = f.lines().filter(|(_, l)| !door(&f) && opens(l));
        bad.extend(lines.map(|(n, _)| format!("{}:{n}", f.path)));
    }
    none("files opened past the storage door", bad);
}

#[test]
fn the_rig_knows_the_vehicle_file_and_no_formula_of_the_analysis() {
    let mut bad = Vec::new();
    for f in code_below(&["fixtures/rig"]) {
        for (n, line) in f.lines() {
            for rest in line.split("wheelwitness_driveline::").skip(1) {
                let module = rest.split(|c: char| !c.is_alphanumeric()).next().unwrap_or(rest);
                if module != "vehicle" {
                    bad.push(format!("{}:{n}: {module}", f.path));
                }
            }
        }
    }
    none("formulas shared by rig and analysis", bad);
}
