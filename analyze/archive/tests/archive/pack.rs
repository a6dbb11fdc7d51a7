//! A drive as one file: out and in again.

use crate::bench::{DAY, MAY, Scratch, archive, at, by, contents, kept};
use std::fs;
use std::process::Command;
use wheelwitness_archive::judgement::Texts;

#[test]
fn a_packed_drive_arrives_whole_with_notes_and_results_and_without_pages() {
    let scratch = Scratch::new();
    let here = archive(&scratch, "here");
    let drive = kept(&scratch, &here, 1, 0);
    let drive = here.note(&drive, "for the club", MAY).unwrap();
    let drive = here.rejudge(&drive, by("other"), &at(MAY + DAY)).unwrap().drive;
    let pack = scratch.path("drive.tar");
    here.pack(&drive, &pack).unwrap();
    let there = archive(&scratch, "there");
    let arrived = there.unpack(&pack, 1_000_000).unwrap();
    assert_eq!(arrived.manifest, drive.manifest);
    assert!(there.verify(&arrived).unwrap().is_whole());
    for file in &drive.manifest.files {
        let there = file.name.below(&arrived.folder);
        if file.is_page() {
            assert!(!there.exists(), "{}", file.name);
        } else {
            assert_eq!(
                fs::read(&there).unwrap(),
                fs::read(file.name.below(&drive.folder)).unwrap()
            );
        }
    }
    let again = there.rejudge(&arrived, Texts::default(), &at(MAY + 2 * DAY)).unwrap().drive;
    assert!(again.folder.join("report-000003/report.html").is_file());
    assert!(there.verify(&again).unwrap().is_whole());
}

#[test]
fn a_drive_packed_twice_gives_the_same_bytes_and_no_file_is_overwritten() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let (one, two) = (scratch.path("one.tar"), scratch.path("two.tar"));
    archive.pack(&drive, &one).unwrap();
    archive.pack(&drive, &two).unwrap();
    assert_eq!(fs::read(&one).unwrap(), fs::read(&two).unwrap());
    assert!(archive.pack(&drive, &one).unwrap_err().to_string().contains("never overwritten"));
}

#[test]
fn any_tar_program_lists_a_pack() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let pack = scratch.path("one.tar");
    archive.pack(&drive, &pack).unwrap();
    let listed = Command::new("tar").arg("-tf").arg(&pack).output().expect("tar is installed");
    let text = String::from_utf8(listed.stdout).unwrap();
    assert!(listed.status.success());
    let first = text.lines().next().unwrap();
    assert_eq!(first, format!("{}/{}", drive.id, drive.manifest.file_name()));
    assert!(text.contains("/capture/segment-000001.wwc\n"), "{text}");
}

#[test]
fn a_pack_that_was_cut_anywhere_is_refused_and_leaves_nothing() {
    let scratch = Scratch::new();
    let here = archive(&scratch, "here");
    let drive = kept(&scratch, &here, 1, 0);
    let pack = scratch.path("one.tar");
    here.pack(&drive, &pack).unwrap();
    let whole = fs::read(&pack).unwrap();
    let there = archive(&scratch, "there");
    // The last kilobyte is the end mark of a tar file, without which nothing is lost.
    let needed = whole.len() - 1024;
    for cut in (0..needed).step_by(509) {
        fs::write(&pack, &whole[..cut]).unwrap();
        there.unpack(&pack, 1_000_000).unwrap_err();
        assert_eq!(contents(there.folder()).len(), 1, "cut at {cut}: only the lock");
    }
}

#[test]
fn one_flipped_bit_in_a_pack_is_refused_wherever_it_changes_what_arrives() {
    let scratch = Scratch::new();
    let here = archive(&scratch, "here");
    let drive = kept(&scratch, &here, 1, 0);
    let pack = scratch.path("one.tar");
    here.pack(&drive, &pack).unwrap();
    let mut bytes = fs::read(&pack).unwrap();
    for at in (0..bytes.len()).step_by(181) {
        bytes[at] ^= 0x01;
        fs::write(&pack, &bytes).unwrap();
        bytes[at] ^= 0x01;
        let scratch = Scratch::new();
        let there = archive(&scratch, "there");
        if let Ok(arrived) = there.unpack(&pack, 1_000_000) {
            assert_eq!(arrived.manifest, drive.manifest, "byte {at}");
            assert!(there.verify(&arrived).unwrap().is_whole(), "byte {at}");
        }
    }
}

#[test]
fn a_damaged_drive_is_not_packed() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    fs::write(drive.folder.join("vehicle-000001.toml"), "changed").unwrap();
    let pack = scratch.path("one.tar");
    let refused = archive.pack(&drive, &pack).unwrap_err();
    assert!(refused.to_string().contains("not packed") && !pack.exists(), "{refused}");
}
