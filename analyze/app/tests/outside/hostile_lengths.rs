//! Fields that say how long something is, saying anything: memory stays bounded.

use crate::bench::{Folder, limited, said, short_drive, wagon};
use std::fs;
use std::path::PathBuf;
use wheelwitness_capture::block::{HEADER_BYTES, decode_header};

/// Lengths that somebody who means harm would write.
const LENGTHS: [u64; 8] =
    [0, 1, 0x7fff_ffff, 0xffff_ffff, 0x1_0000_0000, 1 << 40, (1 << 63) - 1, u64::MAX];

/// The address space that the program may have: its own code, which is most of it, and little
/// more (the fault table allows 64 MiB and twice the input).
const MEBIBYTES: u64 = 64;

/// A capture whose first block is to be spoilt.
struct Victim {
    folder: Folder,
    path: PathBuf,
    sound: Vec<u8>,
    /// Length of the first block.
    block: usize,
}

impl Victim {
    fn new() -> Self {
        let folder = Folder::new();
        short_drive(&folder.path("capture"), wagon(), "board");
        let path = folder.path("capture/segment-000001.wwc");
        let sound = fs::read(&path).unwrap();
        let block = HEADER_BYTES + decode_header(&sound).unwrap().payload_bytes as usize;
        Victim { folder, path, sound, block }
    }

    /// Judges the capture with one place written over; with `seal`, the checksums are made right.
    fn judged_with(&self, at: usize, bytes: &[u8], seal: bool) {
        let mut all = self.sound.clone();
        let end = (at + bytes.len()).min(self.block);
        all[at..end].copy_from_slice(&bytes[..end - at]);
        if seal {
            reseal(&mut all[..self.block]);
        }
        fs::write(&self.path, &all).unwrap();
        let judged = limited(&self.folder.0, MEBIBYTES, &["judge", "capture", "--no-report"]);
        let code = judged.status.code();
        assert!(matches!(code, Some(0 | 3 | 4)), "byte {at}: {code:?}: {}", said(&judged));
    }
}

#[test]
fn any_length_anywhere_in_a_block_takes_no_memory() {
    let victim = Victim::new();
    for at in (4..160).step_by(6) {
        for (k, width) in [2, 4, 8].into_iter().enumerate() {
            let length = LENGTHS[(at / 6 + k) % LENGTHS.len()].to_le_bytes();
            victim.judged_with(at, &length[..width], false);
        }
    }
}

#[test]
fn lengths_that_lie_under_right_checksums_take_no_memory() {
    let victim = Victim::new();
    // The number of records and the length of the payload (FORMAT.md), then varints in records.
    for at in [68, 72] {
        LENGTHS.iter().for_each(|n| victim.judged_with(at, &n.to_le_bytes()[..4], true));
    }
    for at in HEADER_BYTES..HEADER_BYTES + 24 {
        for value in [0x7f, 0x80, 0xff] {
            victim.judged_with(at, &[value; 9], true);
        }
    }
}

/// Makes both checksums of a block right again (their places are frozen in FORMAT.md).
fn reseal(block: &mut [u8]) {
    let header = crc32c(0, &block[..76]).to_le_bytes();
    block[76..80].copy_from_slice(&header);
    let (head, payload) = block.split_at(HEADER_BYTES);
    let whole = crc32c(crc32c(0, &head[..80]), payload).to_le_bytes();
    block[80..84].copy_from_slice(&whole);
}

/// CRC-32C bit by bit (RFC 3720, appendix B.4: reflected polynomial 0x82F63B78).
fn crc32c(before: u32, bytes: &[u8]) -> u32 {
    let step = |crc: u32| (crc >> 1) ^ (0x82F6_3B78 * (crc & 1));
    let byte = |crc: u32, b: &u8| (0..8).fold(crc ^ u32::from(*b), |crc, _| step(crc));
    !bytes.iter().fold(!before, byte)
}

#[test]
fn the_checksums_of_this_test_are_those_of_the_format() {
    // RFC 3720, appendix B.4: 32 bytes of zeros give 0x8A9136AA.
    assert_eq!(crc32c(0, &[0; 32]), 0x8A91_36AA);
    let victim = Victim::new();
    let mut block = victim.sound[..victim.block].to_vec();
    reseal(&mut block);
    assert_eq!(block, victim.sound[..victim.block]);
}
