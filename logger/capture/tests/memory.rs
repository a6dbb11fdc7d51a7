//! A long capture is read in little memory. Alone in its process, because it measures the process.

#![cfg(target_os = "linux")]

use std::io::{self, ErrorKind};
use wheelwitness_capture::block::Builder;
use wheelwitness_capture::clock::Stamp;
use wheelwitness_capture::decode::Decoder;
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Kind, RecordingId};
use wheelwitness_capture::storage::Storage;

const BLOCKS_A_SEGMENT: u64 = 1000;
const SEGMENTS: u64 = 5;
const BLOCK_BYTES: u64 = 64 * 1024;

/// A medium that makes up its blocks when they are read: 330 MB in all.
#[derive(Default)]
struct Endless {
    made: Option<(u64, Vec<u8>)>,
}

impl Endless {
    fn block(&mut self, number: u64) -> &[u8] {
        if self.made.as_ref().is_none_or(|(made, _)| *made != number) {
            let stamp = Stamp { boot_ns: number as i64, ..Stamp::default() };
            let mut builder = Builder::new(RecordingId([1; 16]), number, number, stamp);
            let overhead =
                Builder::new(RecordingId([1; 16]), 0, 0, stamp).seal().len() + 1 + 2 + 1 + 3;
            let content = vec![b'\n'; BLOCK_BYTES as usize - overhead];
            builder.push(0, Kind::Bytes, number as i64, &content).unwrap();
            self.made = Some((number, builder.seal()));
        }
        &self.made.as_ref().unwrap().1
    }
}

impl Storage for Endless {
    fn create_new(&mut self, _: &str) -> io::Result<()> {
        Err(ErrorKind::ReadOnlyFilesystem.into())
    }
    fn append(&mut self, _: &str, _: &[u8]) -> io::Result<()> {
        Err(ErrorKind::ReadOnlyFilesystem.into())
    }
    fn sync(&mut self, _: &str) -> io::Result<()> {
        Err(ErrorKind::ReadOnlyFilesystem.into())
    }
    fn list(&mut self) -> io::Result<Vec<(String, u64)>> {
        let name = |n| wheelwitness_capture::write::segment_name(n as u32);
        Ok((1..=SEGMENTS).map(|n| (name(n), BLOCKS_A_SEGMENT * BLOCK_BYTES)).collect())
    }
    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> io::Result<usize> {
        let segment = u64::from(wheelwitness_capture::write::segment_number(name).unwrap()) - 1;
        let mut filled = 0;
        while filled < into.len() {
            let at = offset + filled as u64;
            let bytes = &self.block(segment * BLOCKS_A_SEGMENT + at / BLOCK_BYTES)
                [(at % BLOCK_BYTES) as usize..];
            let count = bytes.len().min(into.len() - filled);
            into[filled..filled + count].copy_from_slice(&bytes[..count]);
            filled += count;
        }
        Ok(filled)
    }
}

/// The most memory that this process ever had, in KiB (`proc(5)`).
fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().trim_end_matches(" kB").trim().parse().unwrap()
}

#[test]
fn a_capture_of_330_megabytes_is_read_and_decoded_in_16_mib() {
    let before = peak_kib();
    let (mut records, mut decoder) = (0, Decoder::new());
    for item in CaptureReader::from_storage(Endless::default()).unwrap() {
        let Item::Record(record) = item.unwrap() else { panic!("a hole") };
        decoder.push(&record, &mut |reading| panic!("{reading:?}"));
        records += 1;
    }
    assert_eq!(records, BLOCKS_A_SEGMENT * SEGMENTS);
    let grown = peak_kib() - before;
    assert!(grown < 16 * 1024, "{grown} KiB");
}
