//! A third party's reader of network captures opens what is written here and lists the same, and
//! what it writes is read here.
//!
//! The reader is `tshark` of the Debian archive; it is left out where it is missing, but never in
//! continuous integration.

use crate::can_frames::hex;
use std::path::{Path, PathBuf};
use std::process::Command;
use wheelwitness_capture::can::{Frame, Id, Payload};
use wheelwitness_capture::can_error::COUNTERS;
use wheelwitness_capture::pcapng::{Reader, Writer};

/// Frames, and how the reader lists them: id, extended, remote, error, length.
fn frames() -> Vec<(Frame, &'static str)> {
    let wheel = Id::Extended(0x18fe_bf0b);
    let fd = Frame::Fd {
        id: Id::Standard(0x123),
        data: Payload::new(&[0x5a; 12]).unwrap(),
        bit_rate_switch: true,
        error_state: false,
    };
    vec![
        (Frame::data(Id::Standard(0x7e8), &hex("04410c1af8000000")).unwrap(), "2024|0|0|0|8"),
        (Frame::data(wheel, &hex("00327d7d7d7dffff")).unwrap(), "419348235|1|0|0|8"),
        (Frame::data(Id::Standard(0), &[]).unwrap(), "0|0|0|0|0"),
        (Frame::data(Id::Extended(0x1fff_ffff), &hex("aabbcc")).unwrap(), "536870911|1|0|0|3"),
        (Frame::remote(Id::Standard(0x7ff), 8).unwrap(), "2047|0|1|0|8"),
        (fd, "291|0|||12"),
        (Frame::Error { classes: 0x40 | COUNTERS, details: [0; 8] }, "|||1|8"),
    ]
}

fn file() -> Vec<u8> {
    let mut writer = Writer::new(Vec::new()).unwrap();
    let interface = writer.interface(Some("can0")).unwrap();
    for (n, (frame, _)) in (0..).zip(frames()) {
        let time_ns = 1_700_000_000_123_456_789 + n * 10_000_000;
        writer.packet(interface, time_ns, &frame.to_linktype_bytes()).unwrap();
    }
    writer.finish()
}

/// What the reader says, a line a frame; `None` where there is no reader.
fn listed(file: &Path) -> Option<Vec<String>> {
    let fields = [
        "frame.time_epoch",
        "frame.interface_name",
        "can.id",
        "can.flags.xtd",
        "can.flags.rtr",
        "can.flags.err",
        "can.len",
        "data.data",
    ];
    let mut command = Command::new("tshark");
    command.args(["-n", "-T", "fields", "-E", "separator=|", "-r"]).arg(file);
    fields.iter().for_each(|field| _ = command.args(["-e", field]));
    let said = run(&mut command)?;
    Some(said.lines().map(str::to_owned).collect())
}

/// What a program says that must succeed; `None` where it is missing.
fn run(command: &mut Command) -> Option<String> {
    let done = match command.output() {
        Ok(done) => done,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return None,
        Err(error) => panic!("tshark: {error}"),
    };
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    Some(String::from_utf8(done.stdout).unwrap())
}

/// A folder for one test, which goes away with it.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("pcapng-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Folder(path)
    }

    /// The path of a file with what is written here.
    fn ours(&self) -> PathBuf {
        let path = self.0.join("ours.pcapng");
        std::fs::write(&path, file()).unwrap();
        path
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn left_out() {
    assert!(std::env::var_os("CI").is_none(), "tshark is missing: install it");
    eprintln!("agreement with a third party's reader left out: tshark is missing");
}

#[test]
fn a_file_written_here_opens_in_a_third_partys_reader_with_the_same_frames() {
    let folder = Folder::new("read");
    let Some(listed) = listed(&folder.ours()) else { return left_out() };
    let expected = frames().into_iter().enumerate().map(|(n, (frame, told))| {
        let ns = 123_456_789 + n as u64 * 10_000_000;
        let data: String = frame.payload().iter().map(|byte| format!("{byte:02x}")).collect();
        format!("1700000000.{ns:09}|can0|{told}|{data}")
    });
    assert_eq!(listed, expected.collect::<Vec<_>>());
}

#[test]
fn a_file_that_a_third_party_wrote_is_read_here_with_the_same_frames() {
    let folder = Folder::new("write");
    let theirs = folder.0.join("theirs.pcapng");
    let mut command = Command::new("tshark");
    command.args(["-n", "-F", "pcapng", "-r"]).arg(folder.ours()).arg("-w").arg(&theirs);
    if run(&mut command).is_none() {
        return left_out();
    }
    let bytes = std::fs::read(&theirs).unwrap();
    assert_ne!(bytes, file(), "it writes blocks of its own");
    let mut reader = Reader::new(&bytes[..]);
    for (n, (frame, _)) in (0..).zip(frames()) {
        let packet = reader.next_packet().unwrap().unwrap();
        assert_eq!(Frame::from_linktype_bytes(&packet.bytes), Ok(frame));
        assert_eq!(packet.time_ns, 1_700_000_000_123_456_789 + n * 10_000_000);
        assert_eq!(packet.interface.name.as_deref(), Some("can0"));
    }
    assert_eq!(reader.next_packet().unwrap(), None);
    assert!(!reader.is_cut());
}
