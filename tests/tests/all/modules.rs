//! A module uses only those that its `lib.rs` lists above it.

use crate::tree::{CRATES, File, file, files, none};

/// Modules of a crate in the order of its `lib.rs`.
fn order(lib: &File) -> Vec<String> {
    let names = lib.text.lines().filter_map(|line| {
        let line = line.strip_prefix("pub ").unwrap_or(line);
        let line = line.strip_prefix("pub(crate) ").unwrap_or(line);
        let name = line.strip_prefix("mod ")?.trim_end_matches([';', '{', '}', ' ']);
        Some(name.to_string())
    });
    names.collect()
}

/// First names after `crate::` in a text, groups in braces included; comments are passed over.
fn used(text: &str) -> Vec<(usize, String)> {
    let comment = |line: &&str| line.trim_start().starts_with("//");
    let lines: Vec<&str> = text.lines().map(|l| if comment(&l) { "" } else { l }).collect();
    let code = lines.join("\n");
    let mut all = Vec::new();
    for (at, word) in code.match_indices("crate::") {
        let line = code[..at].matches('\n').count() + 1;
        let rest = &code[at + word.len()..];
        all.extend(first_names(rest).into_iter().map(|name| (line, name)));
    }
    all
}

fn first_names(rest: &str) -> Vec<String> {
    let name = |text: &str| -> String {
        text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    let Some(group) = rest.strip_prefix('{') else { return vec![name(rest)] };
    let mut depth = 0;
    let mut names = vec![name(group)];
    for (at, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => names.push(name(&group[at + 1..])),
            _ => {}
        }
        if depth < 0 {
            break;
        }
    }
    names
}

#[test]
fn modules_use_only_those_listed_above_them() {
    let all = files();
    let mut bad = Vec::new();
    let mut seen = 0;
    for (folder, _) in CRATES {
        let order = order(&file(&format!("{folder}/src/lib.rs")));
        let place = |name: &str| order.iter().position(|m| m == name);
        let below = format!("{folder}/src/");
        for f in all.iter().filter(|f| f.is_code() && f.path.starts_with(&below)) {
            let own = f.path[below.len()..].split(['/', '.']).next().unwrap_or("");
            let Some(own_place) = place(own) else { continue };
            for (line, name) in used(&f.text) {
                seen += 1;
                if place(&name).is_some_and(|p| p > own_place) {
                    bad.push(format!("{}:{line}: {own} uses {name}, listed below it", f.path));
                }
            }
        }
    }
    assert!(seen > 200, "found {seen} uses only: the rule no longer sees them");
    none("modules that use one below them", bad);
}

#[test]
fn every_file_of_a_crate_belongs_to_a_listed_module() {
    let all = files();
    let mut bad = Vec::new();
    for (folder, _) in CRATES {
        let order = order(&file(&format!("{folder}/src/lib.rs")));
        let below = format!("{folder}/src/");
        for f in all.iter().filter(|f| f.is_code() && f.path.starts_with(&below)) {
            let own = f.path[below.len()..].split(['/', '.']).next().unwrap_or("");
            if !matches!(own, "lib" | "main" | "bin") && !order.iter().any(|m| m == own) {
                bad.push(f.path.clone());
            }
        }
    }
    none("files that no lib.rs lists", bad);
}

#[test]
fn the_reader_of_uses_sees_groups() {
    let text =
        "use crate::{a::B, c::{D, e},\n    f};\nlet x = crate::g::h(crate::i);\n// crate::j\n";
    let names: Vec<String> = used(text).into_iter().map(|(_, name)| name).collect();
    assert_eq!(names, ["a", "c", "f", "g", "i"]);
}
