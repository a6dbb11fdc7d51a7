//! Damage is found, named, and told apart from what was so from the beginning.

use crate::bench::{MAY, Scratch, VEHICLE, archive, at, capture, kept};
use std::fs;
use wheelwitness_archive::disk::sha256;
use wheelwitness_archive::judgement::Texts;
use wheelwitness_archive::name::FileName;

#[test]
fn one_changed_byte_in_any_file_is_found_and_the_file_is_named() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    assert!(archive.verify(&drive).unwrap().is_whole());
    for file in &drive.manifest.files {
        let path = file.name.below(&drive.folder);
        let sound = fs::read(&path).unwrap();
        for at in [0, sound.len() / 2, sound.len() - 1] {
            let mut bytes = sound.clone();
            bytes[at] ^= 0x04;
            fs::write(&path, &bytes).unwrap();
            let found = archive.verify(&drive).unwrap();
            assert!(found.damage.iter().any(|d| d.file == file.name.as_str()), "{}", file.name);
        }
        fs::remove_file(&path).unwrap();
        let found = archive.verify(&drive).unwrap();
        let named = found.damage.iter().any(|d| d.file == file.name.as_str());
        assert_eq!(named, !file.is_page(), "{} removed", file.name);
        fs::write(&path, &sound).unwrap();
    }
    assert!(archive.verify(&drive).unwrap().is_whole());
}

#[test]
fn blocks_are_read_by_the_capture_reader_and_damage_says_where_and_what_to_do() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let path = drive.capture().join("segment-000001.wwc");
    let mut bytes = fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&path, &bytes).unwrap();
    let found = archive.verify(&drive).unwrap();
    let told: Vec<_> = found.damage.iter().map(|d| d.what.as_str()).collect();
    assert!(told.iter().any(|w| w.contains("no whole block any more")), "{told:?}");
    assert!(told.iter().all(|w| w.contains("from a pack or another archive")), "{told:?}");
}

#[test]
fn a_hole_that_was_there_when_the_drive_was_kept_is_no_damage() {
    let scratch = Scratch::new();
    let folder = scratch.path("capture");
    capture(&folder, 9, MAY, Some(VEHICLE));
    let path = folder.join("segment-000001.wwc");
    let mut bytes = fs::read(&path).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x10;
    fs::write(&path, &bytes).unwrap();
    let archive = archive(&scratch, "a");
    let drive = archive.keep(&folder, Texts::default(), None, &at(MAY)).unwrap();
    assert_eq!(drive.manifest.recording.holes.len(), 1);
    assert!(archive.verify(&drive).unwrap().is_whole());
}

#[test]
fn a_note_that_disappeared_from_a_newer_manifest_is_found() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let drive = archive.note(&drive, "inconvenient", MAY).unwrap();
    let mut forged = drive.manifest.next();
    forged.notes.clear();
    drive.write(&forged).unwrap();
    let found = archive.verify(&archive.drive(&drive.id).unwrap()).unwrap();
    assert!(found.damage[0].what.contains("does not hold all"), "{found:?}");
}

#[test]
fn a_link_in_place_of_a_file_is_not_followed() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let elsewhere = scratch.path("elsewhere.toml");
    fs::write(&elsewhere, VEHICLE).unwrap();
    let path = FileName::vehicle(1).below(&drive.folder);
    fs::remove_file(&path).unwrap();
    std::os::unix::fs::symlink(&elsewhere, &path).unwrap();
    let found = archive.verify(&drive).unwrap();
    assert!(found.damage[0].what.contains("no plain file"), "{found:?}");
    assert_eq!(sha256(VEHICLE.as_bytes()).len(), 64);
}
