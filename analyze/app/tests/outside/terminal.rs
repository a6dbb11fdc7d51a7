//! Whatever stands in a name, no control character but a line end reaches the terminal.

use crate::bench::{Folder, program, short_drive, wagon};
use std::ffi::{OsStr, OsString};
use std::fs;

/// Terminal commands (title, clear, colour, C1 forms, report back), direction changes, a bell, and
/// what hides text. U+009B is the one-character form of ESC [ (ECMA-48, 5.4).
const NASTY: &str =
    "x\u{1b}]0;title\u{7}\u{1b}[2J\u{1b}[31m\u{9b}31m\u{8}\u{202e}\u{2066}\u{200b}y";

/// Bytes that no terminal should get from us.
fn control(text: &str) -> Option<char> {
    let turns = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let hides = |c: char| turns(c) || matches!(c, '\u{200b}'..='\u{200f}');
    text.chars().find(|c| (c.is_control() && *c != '\n') || hides(*c))
}

/// Runs a command and looks at everything that it says. Returns all of it.
fn harmless(folder: &Folder, words: &[&OsStr]) -> String {
    let output = program(&folder.0, words).output().unwrap();
    let mut all = String::new();
    for bytes in [&output.stdout, &output.stderr] {
        let text = std::str::from_utf8(bytes).expect("UTF-8");
        assert_eq!(control(text), None, "{words:?}: {text:?}");
        all += text;
    }
    assert!(!all.is_empty(), "{words:?} says nothing");
    assert!(!all.contains("panicked"), "{words:?}: {all}");
    all
}

/// A vehicle file whose every name is nasty. TOML wants control characters escaped.
fn nasty_vehicle() -> String {
    let escaped: String = NASTY.chars().map(|c| format!("\\u{:04X}", c as u32)).collect();
    wagon()
        .replace("name = \"trail wagon", &format!("name = \"{escaped} trail wagon"))
        .replace("\"full-time\"", &format!("\"{escaped} full-time\""))
}

/// Words of a command line, some of them nasty.
fn line(texts: &[&str]) -> Vec<OsString> {
    texts.iter().map(|t| OsString::from(t.replace("NASTY", NASTY))).collect()
}

fn all_harmless(folder: &Folder, commands: &[&[&str]]) -> Vec<String> {
    let run = |c: &&[&str]| {
        let words = line(c);
        harmless(folder, &words.iter().map(OsString::as_os_str).collect::<Vec<_>>())
    };
    commands.iter().map(run).collect()
}

#[test]
fn names_inside_a_capture_and_a_vehicle_file_reach_no_terminal_as_commands() {
    let folder = Folder::new();
    let vehicle = nasty_vehicle();
    folder.file("nasty.toml", &vehicle);
    // Words of import lines end at blanks and tabs; everything else may be in a name.
    short_drive(&folder.path("capture"), &vehicle, NASTY);
    let said = all_harmless(
        &folder,
        &[
            &["judge", "capture"],
            &["judge", "capture", "--no-report", "--progress"],
            &["explain", "capture", "--claim", "1"],
            &["explain", "capture", "--claim", "3"],
            &["export", "capture", "tables", "--format", "csv"],
            &["export-can", "capture", "--into", "x.pcapng"],
            &["vehicle", "check", "nasty.toml"],
            &["archive", "keep", "capture", "--note", "NASTY"],
            &["archive", "note", "19", "NASTY\nNASTY"],
            &["archive", "note", "undated", "NASTY\nNASTY"],
            &["archive", "list"],
            &["archive", "show", "undated"],
            &["archive", "verify"],
            &["archive", "rejudge"],
            &["archive", "pack", "undated", "--into", "NASTY.tar"],
            &["archive", "unpack", "NASTY.tar", "--archive", "NASTY"],
            &["archive", "list", "--archive", "NASTY"],
            &["archive", "thin", "--older-than", "0", "--copy", "NASTY"],
        ],
    );
    let shown = "\\x1B]0;title\\x07";
    assert!(said.iter().filter(|s| s.contains(shown)).count() >= 10, "shown as text: {said:#?}");
    let written = fs::read_to_string(folder.path("capture/report/summary.txt")).unwrap();
    assert_eq!(control(&written), None);
}

#[test]
fn names_on_the_command_line_and_of_files_reach_no_terminal_as_commands() {
    let folder = Folder::new();
    folder.file("bad.toml", format!("format = 1\n\"{}\" = 3\n", NASTY.escape_default()));
    folder.file("raw.toml", format!("format = 1\nname = \"{NASTY}\"\n"));
    folder.file("lines", format!("0 {NASTY} 24zz{NASTY}\n"));
    folder.file("frames", format!("time_s,{NASTY}\n"));
    folder.file("script", format!("{NASTY}\n"));
    folder.file("settings.toml", format!("[[sources]]\nname = \"{NASTY}\"\n"));
    fs::create_dir(folder.path(NASTY)).unwrap();
    all_harmless(
        &folder,
        &[
            &["NASTY"],
            &["judge", "NASTY"],
            &["judge", "--NASTY"],
            &["judge", "x", "--vehicle", "NASTY"],
            &["explain", "NASTY", "--claim", "1"],
            &["explain", "NASTY", "--claim", "NASTY"],
            &["export", "NASTY", "NASTY"],
            &["export", "x", "y", "--format", "NASTY"],
            &["export-can", "NASTY", "--into", "NASTY"],
            &["import-wire", "NASTY", "c1"],
            &["import-wire", "lines", "NASTY"],
            &["import-can", "NASTY", "c2"],
            &["import-can", "frames", "NASTY"],
            &["vehicle", "new", "NASTY"],
            &["vehicle", "check", "NASTY"],
            &["vehicle", "check", "bad.toml"],
            &["vehicle", "check", "raw.toml"],
            &["rig", "--script", "NASTY"],
            &["rig", "--script", "script", "--wire-lines", "NASTY"],
            &["demo", "--into", "NASTY"],
            &["reckon", "tyres", "NASTY", "NASTY"],
            &["record", "--source", "a=NASTY,9600,gnss", "--into", "NASTY2", "--stop-after", "1"],
            &[
                "record",
                "--source",
                "NASTY=/dev/null,9600,NASTY",
                "--into",
                "r",
                "--stop-after",
                "1",
            ],
            &["record", "--settings", "settings.toml", "--into", "r", "--stop-after", "1"],
            &["ports"],
            &["archive", "keep", "NASTY"],
            &["archive", "list", "--archive", "NASTY/NASTY"],
            &["archive", "list", "--archive", ".", "--from", "NASTY"],
            &["archive", "unpack", "NASTY"],
            &["archive", "unpack", "lines"],
        ],
    );
}
