//! What the documents promise about the house is so.

use crate::tree::{CRATES, file, files, none, top};
use std::collections::BTreeSet;

/// The part of a document below a heading, up to the next one of that depth or less.
fn section(text: &str, heading: &str) -> String {
    let depth = heading.chars().take_while(|c| *c == '#').count();
    let ends = |l: &str| {
        let hashes = l.chars().take_while(|c| *c == '#').count();
        (1..=depth).contains(&hashes) && l[hashes..].starts_with(' ')
    };
    let mut lines = text.lines().skip_while(|l| *l != heading);
    assert!(lines.next().is_some(), "there is no heading \"{heading}\"");
    let mut fenced = false;
    let inside = lines.take_while(|l| {
        fenced ^= l.starts_with("```");
        fenced || !ends(l)
    });
    inside.collect::<Vec<_>>().join("\n")
}

/// Non-empty lines inside fences.
fn fenced(text: &str) -> Vec<String> {
    let mut inside = false;
    let lines = text.lines().filter(|l| {
        let fence = l.starts_with("```");
        inside ^= fence;
        inside && !fence && !l.trim().is_empty()
    });
    lines.map(str::to_string).collect()
}

/// Rows of the tables of a text, cells trimmed, heads and rules left out.
fn table_rows(text: &str) -> Vec<Vec<String>> {
    let cells = |l: &str| -> Vec<String> {
        l.trim_matches('|').split('|').map(|c| c.trim().to_string()).collect()
    };
    let rows: Vec<&str> = text.lines().filter(|l| l.starts_with('|')).collect();
    rows.into_iter().skip(2).map(cells).collect()
}

#[test]
fn the_readme_sets_everything_up_with_two_commands_in_one_profile() {
    let readme = file("README.md");
    let commands = fenced(&section(&readme.text, "## Set-up"));
    assert_eq!(commands, ["cargo run -p wheelwitness -- demo", "cargo test --workspace"]);
}

#[test]
fn ci_runs_the_test_command_of_the_readme() {
    let tests = fenced(&section(&file("README.md").text, "## Set-up")).pop();
    let script = file(".ci/run").text;
    let command = tests.expect("there is a second command");
    let runs = |l: &str| l.split_whitespace().collect::<Vec<_>>().join(" ").contains(&command);
    assert!(script.lines().any(runs), "{command} is not in .ci/run");
}

#[test]
fn exit_codes_are_those_that_the_frozen_page_lists() {
    let page = section(&file("analyze/SCHEMAS.md").text, "## Exit codes");
    let listed: BTreeSet<i32> =
        table_rows(&page).iter().map(|r| r[0].parse().expect("a code is a number")).collect();
    let source = file("analyze/app/src/exit.rs");
    let coded: BTreeSet<i32> = source
        .lines()
        .filter_map(|(_, l)| l.strip_prefix("pub const ")?.split_once("i32 = "))
        .map(|(_, number)| number.trim_end_matches(';').parse().expect("a code is a number"))
        .collect();
    assert!(coded.len() >= 9, "only {coded:?} found in exit.rs");
    assert_eq!(coded, listed);
}

#[test]
fn every_claim_is_described_for_the_reader() {
    let readme = file("README.md").text;
    let claims = wheelwitness_analyze::claims::CLAIMS;
    let missing = claims.iter().filter(|(id, ..)| !readme.contains(&format!("`{id}`")));
    none("claims that the README does not name", missing.map(|(id, ..)| id.to_string()).collect());
}

#[test]
fn every_link_within_the_house_leads_somewhere() {
    let mut bad = Vec::new();
    for document in files().iter().filter(|f| f.path.ends_with(".md")) {
        let folder = top().join(&document.path);
        let folder = folder.parent().expect("a document lies in a folder").to_path_buf();
        for (n, line) in document.lines() {
            for rest in line.split("](").skip(1) {
                let target = rest.split([')', '#']).next().unwrap_or("");
                let ours = !target.is_empty() && !target.contains("://");
                if ours && !folder.join(target).exists() {
                    bad.push(format!("{}:{n}: {target}", document.path));
                }
            }
        }
    }
    none("links that lead nowhere", bad);
}

#[test]
fn the_code_map_names_every_module_and_nothing_else() {
    let map = section(&file("DEVELOPERS.md").text, "## Code map");
    let listed: BTreeSet<String> = table_rows_of_all(&map);
    let all = files();
    let mut bad = Vec::new();
    for (folder, _) in CRATES {
        let below = format!("{folder}/src/");
        let lib = file(&format!("{below}lib.rs"));
        let modules = lib.text.lines().filter_map(|l| {
            let l = l.strip_prefix("pub ").unwrap_or(l);
            l.strip_prefix("mod ")?.strip_suffix(';')
        });
        let unlisted = modules.filter(|m| {
            let forms = [format!("{below}{m}.rs"), format!("{below}{m}/mod.rs")];
            !forms.iter().any(|f| listed.contains(f))
        });
        bad.extend(unlisted.map(|m| format!("{below}{m} is not in the code map")));
    }
    let exists = |path: &str| all.iter().any(|f| f.path == path || f.path.starts_with(path));
    bad.extend(listed.iter().filter(|p| !exists(p)).map(|p| format!("{p} is not in the house")));
    none("code map", bad);
}

/// First cells of all tables of a text, without the marks around code.
fn table_rows_of_all(text: &str) -> BTreeSet<String> {
    let first = |l: &str| l.strip_prefix("| `")?.split('`').next().map(str::to_string);
    text.lines().filter_map(first).collect()
}

#[test]
fn the_top_of_the_house_stays_tidy() {
    const ROOMS: [&str; 17] = [
        ".ci",
        ".cargo",
        ".github",
        ".git",
        ".gitignore",
        "CHANGELOG.md",
        "Cargo.lock",
        "Cargo.toml",
        "DEVELOPERS.md",
        "LICENSE-APACHE",
        "LICENSE-MIT",
        "README.md",
        "analyze",
        "fixtures",
        "justfile",
        "logger",
        "rustfmt.toml",
    ];
    let mut bad = Vec::new();
    for entry in std::fs::read_dir(top()).expect("the top can be listed") {
        let name = entry.expect("an entry").file_name().into_string().expect("plain text");
        let built = name == "target" || name.starts_with("demo-drive");
        if !built && !ROOMS.contains(&name.as_str()) && !matches!(name.as_str(), "docs" | "tests") {
            bad.push(name);
        }
    }
    none("things that have no place at the top", bad);
}
