//! Room is made only when told to, and the last copy never goes.

use crate::bench::{DAY, MAY, Scratch, archive, at, contents, kept};
use std::fs;
use std::path::PathBuf;
use wheelwitness_archive::archive::Archive;
use wheelwitness_archive::judgement::Texts;
use wheelwitness_archive::thin::Rule;

const ALL: Rule = Rule { before_ns: Some(i64::MAX), down_to_bytes: None };

fn refused(archive: &Archive, copies: &[PathBuf]) -> String {
    let before = contents(archive.folder());
    let plan = archive.thin(&ALL, copies).unwrap();
    assert_eq!(plan.going.len(), 0);
    let held = |files: Vec<(PathBuf, Vec<u8>)>| {
        files.into_iter().filter(|(p, _)| !p.ends_with(".lock")).collect::<Vec<_>>()
    };
    assert_eq!(held(contents(archive.folder())), held(before));
    plan.staying[0].1.clone()
}

#[test]
fn without_a_copy_a_drive_is_the_last_copy_and_stays() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    kept(&scratch, &archive, 1, 0);
    assert!(refused(&archive, &[]).contains("last copy"));
    assert!(refused(&archive, &[scratch.path("nowhere")]).contains("last copy"));
}

#[test]
fn a_plan_changes_nothing_and_a_checked_copy_lets_the_drive_go() {
    let scratch = Scratch::new();
    let (here, there) = (archive(&scratch, "here"), archive(&scratch, "there"));
    let drive = kept(&scratch, &here, 1, 0);
    kept(&scratch, &there, 1, 0);
    let pack = scratch.path("drive.tar");
    here.pack(&drive, &pack).unwrap();
    let before = contents(here.folder());
    assert_eq!(here.plan(&ALL, std::slice::from_ref(&pack)).unwrap().going.len(), 1);
    assert_eq!(contents(here.folder()), before);
    let plan = here.thin(&ALL, std::slice::from_ref(&pack)).unwrap();
    assert_eq!((plan.going.len(), plan.staying.len()), (1, 0));
    assert!(!drive.folder.exists());
    assert_eq!(here.list().unwrap().drives.len(), 0);
    let back = here.unpack(&pack, u64::MAX).unwrap();
    assert_eq!(back.manifest, drive.manifest);
    assert_eq!(here.thin(&ALL, &[there.folder().into()]).unwrap().going.len(), 1);
}

#[test]
fn the_same_place_by_another_path_and_linked_files_are_no_copies() {
    let scratch = Scratch::new();
    let here = archive(&scratch, "here");
    let drive = kept(&scratch, &here, 1, 0);
    let link = scratch.path("link");
    std::os::unix::fs::symlink(here.folder(), &link).unwrap();
    for path in [here.folder().to_path_buf(), link] {
        assert!(refused(&here, &[path]).contains("this very drive"));
    }
    let there = archive(&scratch, "there");
    for (path, _) in contents(&drive.folder) {
        let to = there.folder().join(path.strip_prefix(here.folder()).unwrap());
        fs::create_dir_all(to.parent().unwrap()).unwrap();
        fs::hard_link(&path, &to).unwrap();
    }
    assert!(refused(&here, &[there.folder().into()]).contains("this very drive"));
}

#[test]
fn a_damaged_copy_and_one_without_the_newest_note_do_not_count() {
    let scratch = Scratch::new();
    let (here, there) = (archive(&scratch, "here"), archive(&scratch, "there"));
    let drive = kept(&scratch, &here, 1, 0);
    let copy = kept(&scratch, &there, 1, 0);
    let pack = scratch.path("drive.tar");
    here.pack(&drive, &pack).unwrap();
    let segment = copy.capture().join("segment-000001.wwc");
    let sound = fs::read(&segment).unwrap();
    let mut bytes = sound.clone();
    bytes[100] ^= 1;
    fs::write(&segment, &bytes).unwrap();
    assert!(refused(&here, &[there.folder().into()]).contains("segment-000001.wwc"));
    fs::write(&segment, &sound).unwrap();
    let packed = fs::read(&pack).unwrap();
    let place = packed.windows(200).position(|w| w == &sound[500..700]).unwrap();
    let mut bytes = packed.clone();
    bytes[place] ^= 1;
    fs::write(&pack, &bytes).unwrap();
    assert!(refused(&here, std::slice::from_ref(&pack)).contains("another hash"));
    fs::write(&pack, &packed).unwrap();
    let drive = here.note(&drive, "new", MAY).unwrap();
    for copies in [pack.clone(), there.folder().into()] {
        assert!(refused(&here, &[copies]).contains("newest notes"));
    }
    let again = here.rejudge(&drive, Texts::default(), &at(MAY)).unwrap().drive;
    assert!(here.verify(&again).unwrap().is_whole());
}

#[test]
fn a_pack_that_lacks_its_end_does_not_count() {
    let scratch = Scratch::new();
    let here = archive(&scratch, "here");
    let drive = kept(&scratch, &here, 1, 0);
    let pack = scratch.path("drive.tar");
    here.pack(&drive, &pack).unwrap();
    let whole = fs::read(&pack).unwrap();
    let last = drive.manifest.files.iter().rfind(|f| !f.is_page()).unwrap();
    let entry = 512 + last.bytes.next_multiple_of(512) as usize;
    for cut in [whole.len() - 1024 - entry, whole.len() - 1024 - 1, whole.len() / 2] {
        fs::write(&pack, &whole[..cut]).unwrap();
        assert!(refused(&here, std::slice::from_ref(&pack)).contains("last copy"), "{cut}");
    }
    // Cut between two entries and ended as a pack ends: only the manifest tells.
    let mut ended = whole[..whole.len() - 1024 - entry].to_vec();
    ended.resize(ended.len() + 1024, 0);
    fs::write(&pack, &ended).unwrap();
    assert!(refused(&here, std::slice::from_ref(&pack)).contains("is missing in it"));
}

#[test]
fn age_and_size_choose_the_oldest_and_an_unset_clock_makes_no_drive_old() {
    let scratch = Scratch::new();
    let (here, there) = (archive(&scratch, "here"), archive(&scratch, "there"));
    let mut sizes = Vec::new();
    for (id, days) in [(1, 0), (2, 10), (3, 20)] {
        sizes.push(kept(&scratch, &here, id, days).manifest.bytes());
        kept(&scratch, &there, id, days);
    }
    crate::bench::capture(&scratch.path("unset"), 9, 5, Some(crate::bench::VEHICLE));
    let unset =
        here.keep(&scratch.path("unset"), Texts::default(), None, &at(MAY + 30 * DAY)).unwrap();
    sizes.push(unset.manifest.bytes());
    let copies = [there.folder().to_path_buf()];
    let met = |rule: Rule| -> Vec<String> {
        let plan = here.plan(&rule, &copies).unwrap();
        let going = plan.going.iter().map(|(d, _)| d.id.to_string());
        going.chain(plan.staying.iter().map(|(id, _)| format!("{id} stays"))).collect()
    };
    let first = "2026-05-17-010101010101".to_string();
    let second = "2026-05-27-020202020202".to_string();
    let before_ns = Some(MAY + 5 * DAY);
    assert_eq!(met(Rule { before_ns, down_to_bytes: None }), vec![first.clone()]);
    let total: u64 = sizes.iter().sum();
    let down_to_bytes = Some(total - sizes[0] - 1);
    assert_eq!(met(Rule { before_ns: None, down_to_bytes }), vec![first, second]);
    let nothing = Rule { before_ns: None, down_to_bytes: Some(total) };
    assert_eq!(met(nothing), Vec::<String>::new());
}

#[test]
fn two_archives_are_not_thinned_against_each_other_at_once() {
    let scratch = Scratch::new();
    let (here, there) = (archive(&scratch, "here"), archive(&scratch, "there"));
    kept(&scratch, &here, 1, 0);
    kept(&scratch, &there, 1, 0);
    let held = there.hold().unwrap();
    let refused = here.thin(&ALL, &[there.folder().into()]).unwrap_err();
    assert!(refused.to_string().contains("somebody else"), "{refused}");
    drop(held);
    assert_eq!(here.thin(&ALL, &[there.folder().into()]).unwrap().going.len(), 1);
    assert!(there.thin(&ALL, &[here.folder().into()]).unwrap().going.is_empty());
}
