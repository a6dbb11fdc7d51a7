//! The commands `import-can` and `export-can`.

use crate::scratch::Folder;
use std::path::PathBuf;
use wheelwitness::{exit, run};

const LINES: &str = "\
time_s,interface,id,extended,data
0.000,can0,18FEBF0B,1,00327D7D7D7DFFFF
0.010,can1,7E8,0,04410C1AF8000000
0.020,can0,18FEBF0B,1,80258D6D8575FFFF
";

fn import(file: &str, into: &str) -> i32 {
    run(["wheelwitness", "import-can", file, into])
}

fn export(capture: &str, into: &str) -> i32 {
    run(["wheelwitness", "export-can", capture, "--into", into])
}

#[test]
fn frames_go_from_lines_to_a_capture_to_pcapng_and_back() {
    let folder = Folder::new("there-and-back");
    let lines = folder.write("frames.csv", LINES.as_bytes());
    let [first, second] = ["first", "second"].map(|name| folder.path(name));
    let [one, two] = ["one.pcapng", "two.pcapng"].map(|name| folder.path(name));
    assert_eq!(import(&lines, &first), exit::DONE);
    assert_eq!(export(&first, &one), exit::DONE);
    assert_eq!(import(&one, &second), exit::DONE);
    assert_eq!(export(&second, &two), exit::DONE);
    let bytes = std::fs::read(&one).unwrap();
    assert_eq!(bytes, std::fs::read(&two).unwrap());
    let frame = [0x98, 0xfe, 0xbf, 0x0b, 8, 0, 0, 0, 0x80, 0x25, 0x8d, 0x6d, 0x85, 0x75];
    assert!(bytes.windows(frame.len()).any(|window| window == frame));
    assert_eq!(export(&first, &one), exit::STORAGE, "nothing is overwritten");
    assert_eq!(import(&lines, &first), exit::STORAGE, "nothing is overwritten");
    assert_eq!(bytes, std::fs::read(&one).unwrap());
}

#[test]
fn what_cannot_be_read_and_what_breaks_off_have_their_exit_codes() {
    let folder = Folder::new("codes");
    let lines = folder.write("frames.csv", LINES.as_bytes());
    assert_eq!(import(&folder.path("missing"), &folder.path("a")), exit::UNREADABLE);
    let wrong = folder.write("wrong.csv", b"time_s,interface,id,data\n0,can0,XYZ,00\n");
    assert_eq!(import(&wrong, &folder.path("b")), exit::UNREADABLE);
    assert!(!PathBuf::from(folder.path("b")).exists(), "nothing is left of it");
    assert_eq!(import(&lines, &folder.path("c")), exit::DONE);
    let file = folder.path("c.pcapng");
    assert_eq!(export(&folder.path("c"), &file), exit::DONE);
    let bytes = std::fs::read(&file).unwrap();
    let cut = folder.write("cut.pcapng", &bytes[..bytes.len() - 5]);
    assert_eq!(import(&cut, &folder.path("d")), exit::HOLES);
    assert_eq!(export(&folder.path("nowhere"), &folder.path("e")), exit::UNREADABLE);
    assert!(!PathBuf::from(folder.path("e")).exists());
}
