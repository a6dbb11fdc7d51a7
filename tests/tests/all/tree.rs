//! The files of the house, as they stand on the disk.

use std::path::{Path, PathBuf};

/// The crates, as folders, and what a `use` calls them.
pub const CRATES: [(&str, &str); 11] = [
    ("logger/capture", "wheelwitness_capture"),
    ("logger", "wheelwitness_logger"),
    ("analyze/driveline", "wheelwitness_driveline"),
    ("analyze", "wheelwitness_analyze"),
    ("analyze/archive", "wheelwitness_archive"),
    ("analyze/tables", "wheelwitness_tables"),
    ("analyze/app", "wheelwitness"),
    ("fixtures/rig", "wheelwitness_rig"),
    ("tests", "wheelwitness_tests"),
    ("tests/faults", "wheelwitness_faults"),
    ("tests/fuzz", "wheelwitness_fuzz"),
];

/// Endings of what is read as text.
const TEXT: [&str; 9] = ["rs", "toml", "md", "css", "txt", "json", "py", "sh", "yml"];

/// Text files without an ending.
const NAMED: [&str; 4] = ["justfile", "run", "LICENSE-MIT", "LICENSE-APACHE"];

/// One text file.
pub struct File {
    /// Path from the top, with `/`.
    pub path: String,
    /// What is in it.
    pub text: String,
}

impl File {
    /// Whether it is source code.
    pub fn is_code(&self) -> bool {
        self.path.ends_with(".rs")
    }

    /// Its lines, numbered from 1.
    pub fn lines(&self) -> impl Iterator<Item = (usize, &str)> {
        self.text.lines().enumerate().map(|(n, line)| (n + 1, line))
    }
}

/// The top of the house.
pub fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the tests live in a folder").into()
}

/// Every text file of the house; what a build, a demo or a version control leaves is not ours.
pub fn files() -> Vec<File> {
    let mut all = Vec::new();
    walk(&top(), "", &mut all);
    all.sort_by(|a, b| a.path.cmp(&b.path));
    assert!(all.len() > 100, "found {} files only: this is not the whole house", all.len());
    all
}

/// One text file by its path from the top.
pub fn file(path: &str) -> File {
    let text = std::fs::read_to_string(top().join(path)).unwrap_or_else(|e| panic!("{path}: {e}"));
    File { path: path.into(), text }
}

fn walk(folder: &Path, below: &str, all: &mut Vec<File>) {
    let entries = std::fs::read_dir(folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    for entry in entries.map(|e| e.expect("a folder of ours can be listed")) {
        let name = entry.file_name().into_string().expect("our names are plain text");
        let path = format!("{below}{name}");
        let kind = entry.file_type().expect("an entry has a type");
        if kind.is_dir() && !left_behind(&name) {
            walk(&entry.path(), &format!("{path}/"), all);
        } else if kind.is_file() && is_text(&name) {
            all.push(file(&path));
        }
    }
}

fn left_behind(name: &str) -> bool {
    matches!(name, ".git" | "target" | "__pycache__") || name.starts_with("demo-drive")
}

fn is_text(name: &str) -> bool {
    NAMED.contains(&name) || name.rsplit_once('.').is_some_and(|(_, end)| TEXT.contains(&end))
}

/// Fails with the whole list, or passes.
pub fn none(what: &str, found: Vec<String>) {
    assert!(found.is_empty(), "{what}:\n  {}", found.join("\n  "));
}
