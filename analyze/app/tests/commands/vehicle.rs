//! Promises of `vehicle new` and `vehicle check`.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use wheelwitness::{exit, run};

fn fresh_file(name: &str) -> PathBuf {
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    let _ = std::fs::remove_file(&path);
    path
}

fn vehicle(command: &str, file: &Path) -> i32 {
    let words = ["wheelwitness", "vehicle", command].map(OsStr::new);
    run(words.into_iter().chain([file.as_os_str()]))
}

#[test]
fn a_new_file_checks_clean() {
    let file = fresh_file("new.toml");
    assert_eq!(vehicle("new", &file), exit::DONE);
    assert_eq!(vehicle("check", &file), exit::DONE);
}

#[test]
fn a_new_file_never_overwrites_one_that_is_there() {
    let file = fresh_file("mine.toml");
    std::fs::write(&file, "mine").unwrap();
    assert_eq!(vehicle("new", &file), exit::STORAGE);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
}

#[test]
fn a_file_with_a_mistake_or_no_text_or_not_there_is_unreadable() {
    let file = fresh_file("bad.toml");
    assert_eq!(vehicle("check", &file), exit::UNREADABLE);
    std::fs::write(&file, "format = 1\n").unwrap();
    assert_eq!(vehicle("check", &file), exit::UNREADABLE);
    std::fs::write(&file, [b'a', b'\n', 0xff]).unwrap();
    assert_eq!(vehicle("check", &file), exit::UNREADABLE);
}

#[test]
fn a_command_line_that_is_not_understood_is_a_usage_mistake() {
    assert_eq!(run(["wheelwitness", "vehicle", "weigh"]), exit::USAGE);
    assert_eq!(run(["wheelwitness", "--version"]), exit::DONE);
}
