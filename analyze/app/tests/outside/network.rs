//! Which sockets a command opens, asked of the kernel: none, unless it says so.

use crate::bench::{Folder, short_drive, wagon};
use std::process::{Command, Stdio};

/// Whether the system calls of a command can be watched here. In CI they must be.
fn watched() -> bool {
    let there = Command::new("strace").arg("-V").stdout(Stdio::null()).status().is_ok();
    assert!(there || std::env::var_os("CI").is_none(), "strace is missing: nobody looked");
    if !there {
        println!("strace is not installed: no command was watched");
    }
    there
}

/// Families of the sockets that a command and all its children opened.
fn families(folder: &Folder, words: &[&str]) -> Vec<String> {
    let log = folder.path("strace.log");
    let mut command = Command::new("strace");
    command.args(["-f", "-qq", "-e", "trace=network", "-o"]).arg(&log);
    command.arg(env!("CARGO_BIN_EXE_wheelwitness")).args(words).current_dir(&folder.0);
    let output = command.stdin(Stdio::null()).output().expect("strace runs");
    let text = String::from_utf8_lossy(&output.stderr);
    assert!(!text.contains("panicked"), "{words:?}: {text}");
    let log = std::fs::read_to_string(&log).unwrap();
    let opened = |l: &str| {
        let call = l.split_once("socket(").or_else(|| l.split_once("socketpair("))?;
        call.1.split([',', ')']).next().map(str::to_string)
    };
    log.lines().filter_map(opened).collect()
}

#[test]
fn no_command_opens_a_socket_unless_it_says_so() {
    if !watched() {
        return;
    }
    let folder = Folder::new();
    short_drive(&folder.path("capture"), wagon(), "board");
    folder.file("v.toml", wagon());
    folder.file("script", "wait 1\n");
    for words in [
        &["judge", "capture"][..],
        &["explain", "capture", "--claim", "3"],
        &["export", "capture", "tables"],
        &["export-can", "capture", "--into", "x.pcapng"],
        &["vehicle", "new", "new.toml"],
        &["vehicle", "check", "v.toml"],
        &["rig", "--script", "script", "--wire-lines", "lines"],
        &["import-wire", "lines", "imported", "--vehicle", "v.toml"],
        &["import-can", "x.pcapng", "imported-can"],
        &["reckon", "tyres", "235/75R15", "265/70R16"],
        &["archive", "keep", "capture"],
        &["archive", "note", "undated", "text"],
        &["archive", "list"],
        &["archive", "show", "undated"],
        &["archive", "verify"],
        &["archive", "rejudge"],
        &["archive", "pack", "undated", "--into", "x.tar"],
        &["archive", "unpack", "x.tar", "--archive", "other"],
        &["archive", "thin", "--older-than", "0", "--copy", "other", "--remove"],
        &["--help"],
        &["judge", "nowhere"],
    ] {
        assert_eq!(families(&folder, words), Vec::<String>::new(), "{words:?}");
    }
}

/// The recorder asks the kernel about interfaces, and wakes itself over a pair of its own; it
/// speaks to nothing that leaves the machine. A CAN interface is opened only where one is named.
#[test]
fn recorder_and_ports_open_only_sockets_that_stay_in_the_machine() {
    if !watched() {
        return;
    }
    let folder = Folder::new();
    for words in [
        &["ports"][..],
        &["record", "--source", "b=nowhere,9600,gnss", "--into", "r", "--stop-after", "1"],
    ] {
        let opened = families(&folder, words);
        let inside = |f: &String| matches!(f.as_str(), "AF_UNIX" | "AF_NETLINK");
        assert!(opened.iter().all(inside), "{words:?}: {opened:?}");
    }
}

#[test]
fn the_watch_sees_a_socket_when_there_is_one() {
    if !watched() {
        return;
    }
    let folder = Folder::new();
    let opened = families(
        &folder,
        &["record", "--source", "c=nocan7,can", "--into", "r", "--stop-after", "1"],
    );
    assert!(!opened.is_empty(), "a CAN source asks for its interface");
}
