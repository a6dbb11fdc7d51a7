//! Style that a formatter does not see.

use crate::tree::{File, files, none};

/// Functions longer than [`FUNCTION_LINES`]: file, name, lines now, why. The list may shrink, and
/// a number on it may shrink; nothing else.
const LONG: [(&str, &str, usize, &str); 1] =
    [("analyze/tests/report/fixture.rs", "claims", 157, "a table of invented claims")];

const FUNCTION_LINES: usize = 70;
const FILE_LINES: usize = 600;
const LINE_CHARS: usize = 100;

/// What must not stand in any text of the house. In pieces, so that this list is not a find.
const NOWHERE: [&str; 21] = [
    concat!("/wo", "rk/"),
    concat!("/tmp/", "ww"),
    concat!("/ro", "ot/"),
    concat!("/ho", "me/"),
    concat!("crates", ".io"),
    concat!("py", "pi.org"),
    concat!("git", "hub.com"),
    concat!("docs", ".rs/"),
    concat!("check", "-values"),
    concat!("seed ", "document"),
    concat!("tran", "script"),
    concat!("chat", "bot"),
    concat!("language ", "model"),
    concat!("assist", "ant"),
    concat!("co-auth", "ored"),
    concat!("as an ", "ai"),
    concat!("this ", "session"),
    concat!("helper ", "session"),
    concat!("work", "tree"),
    concat!("fix", "me"),
    concat!("xx", "x:"),
];

/// What must not stand in code.
const NOT_IN_CODE: [&str; 6] = [
    concat!("todo", "!"),
    concat!("unimplemented", "!"),
    concat!("dbg", "!"),
    concat!("#[ign", "ore"),
    concat!("allow(dead", "_code)"),
    concat!("allow(unu", "sed"),
];

fn code() -> Vec<File> {
    files().into_iter().filter(File::is_code).collect()
}

/// Every line of some files that a rule finds.
fn found(files: &[File], rule: impl Fn(&str) -> Option<String>) -> Vec<String> {
    let all = files.iter().flat_map(|f| f.lines().map(move |(n, line)| (f, n, line)));
    all.filter_map(|(f, n, line)| Some(format!("{}:{n}: {}", f.path, rule(line)?))).collect()
}

#[test]
fn lines_of_code_fit_the_page() {
    let long = |line: &str| {
        let n = line.chars().count();
        (n > LINE_CHARS).then(|| format!("{n} characters"))
    };
    none("lines over 100 characters", found(&code(), long));
}

#[test]
fn files_of_code_hold_one_concept() {
    let long = code().into_iter().filter(|f| f.text.lines().count() > FILE_LINES);
    none("files over 600 lines", long.map(|f| f.path).collect());
}

#[test]
fn every_file_of_code_begins_by_saying_what_it_is() {
    let mute = code().into_iter().filter(|f| !f.text.starts_with("//! "));
    none("files that do not begin with `//! `", mute.map(|f| f.path).collect());
}

#[test]
fn nothing_is_left_undone_or_switched_off() {
    let rule = |line: &str| NOT_IN_CODE.iter().find(|w| line.contains(**w)).map(|w| w.to_string());
    none("unfinished or silenced code", found(&code(), rule));
}

#[test]
fn no_text_names_a_machine_a_registry_or_its_making() {
    let rule = |line: &str| {
        let line = line.to_lowercase();
        NOWHERE.iter().find(|w| line.contains(**w)).map(|w| format!("\"{w}\""))
    };
    none("words that belong nowhere in the house", found(&files(), rule));
}

#[test]
fn no_text_holds_a_character_that_cannot_be_seen() {
    let hidden = |c: char| {
        (c.is_control() && c != '\t')
            || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}')
            || matches!(c, '\u{2060}'..='\u{2069}' | '\u{feff}')
    };
    let rule = |line: &str| line.chars().find(|c| hidden(*c)).map(|c| format!("{c:?}"));
    let mut bad = found(&files(), rule);
    bad.extend(files().iter().filter(|f| f.text.contains('\r')).map(|f| f.path.clone()));
    none("characters that cannot be seen", bad);
}

/// Functions of a formatted file: name, first line, lines.
fn functions(f: &File) -> Vec<(String, usize, usize)> {
    let lines: Vec<&str> = f.text.lines().collect();
    let mut all = Vec::new();
    for (n, line) in lines.iter().enumerate() {
        let Some(name) = function_name(line) else { continue };
        let indent = &line[..line.len() - line.trim_start().len()];
        let end = format!("{indent}}}");
        let last = lines[n..].iter().position(|l| *l == end || l.ends_with(';') && *l == *line);
        all.push((name.to_string(), n + 1, last.map_or(1, |k| k + 1)));
    }
    all
}

fn function_name(line: &str) -> Option<&str> {
    let words = line.trim_start();
    let (before, after) = words.split_once("fn ")?;
    let qualified = |w: &str| {
        matches!(w, "const" | "async" | "unsafe" | "pub" | "extern") || w.starts_with("pub(")
    };
    let declared = before.split_whitespace().all(qualified) && !words.ends_with("}");
    declared.then(|| after.split(['(', '<']).next().unwrap_or(after))
}

#[test]
fn functions_fit_one_screen() {
    let mut bad = Vec::new();
    let mut seen = 0;
    for f in code() {
        for (name, line, lines) in functions(&f) {
            seen += 1;
            let excused = LONG.iter().find(|(path, of, ..)| *path == f.path && *of == name);
            let limit = excused.map_or(FUNCTION_LINES, |(_, _, lines, _)| *lines);
            if lines > limit {
                bad.push(format!("{}:{line}: {name} has {lines} lines", f.path));
            } else if excused.is_some() && lines < limit {
                bad.push(format!("{}: {name} has {lines} lines now: shorten the list", f.path));
            }
        }
    }
    assert!(seen > 500, "found {seen} functions only: the rule no longer sees them");
    none("functions over 70 lines", bad);
}

#[test]
fn the_measure_of_functions_sees_what_it_should() {
    let text =
        "fn a() {\n    b();\n}\n\npub(crate) const fn c<T>(\n    t: T,\n) -> T {\n    t\n}\n";
    let f = File { path: "x.rs".into(), text: text.into() };
    assert_eq!(functions(&f), [("a".into(), 1, 3), ("c".into(), 5, 5)]);
}
