//! Keeping a drive, and finding it again.

use crate::bench::{DAY, MAY, Scratch, VEHICLE, archive, at, by, capture, contents, judge, kept};
use std::fs;
use wheelwitness_analyze::assemble::Beside;
use wheelwitness_analyze::result::Verdict;
use wheelwitness_archive::judgement::{Bench, Texts};
use wheelwitness_archive::search::Wanted;

#[test]
fn a_kept_drive_holds_the_capture_byte_for_byte_and_the_original_is_untouched() {
    let scratch = Scratch::new();
    let folder = scratch.path("capture");
    capture(&folder, 7, MAY, Some(VEHICLE));
    fs::write(folder.join("diary.txt"), "mine").unwrap();
    let before = contents(&folder);
    let archive = archive(&scratch, "a");
    let drive = archive.keep(&folder, Texts::default(), Some("first"), &at(MAY + 5)).unwrap();
    assert_eq!(drive.id.as_str(), "2026-05-17-070707070707");
    assert_eq!(contents(&folder), before);
    let copied = contents(&drive.capture());
    assert!(copied.len() >= 2, "several segments");
    for (path, bytes) in copied {
        assert_eq!(bytes, fs::read(folder.join(path.file_name().unwrap())).unwrap());
    }
    let vehicle = fs::read_to_string(drive.folder.join("vehicle-000001.toml")).unwrap();
    assert_eq!(vehicle, VEHICLE);
    let m = &drive.manifest;
    assert_eq!((m.recording.records, m.recording.closed, m.notes.len()), (42, true, 1));
    assert_eq!((m.judgements.len(), m.vehicle()), (1, Some("Invented wagon")));
    assert!(archive.verify(&drive).unwrap().is_whole());
}

#[test]
fn a_recording_is_in_an_archive_once() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    kept(&scratch, &archive, 1, 0);
    let again =
        archive.keep(&scratch.path("capture-1"), Texts::default(), None, &at(MAY)).unwrap_err();
    assert!(again.to_string().contains("already"), "{again}");
    assert_eq!(archive.list().unwrap().drives.len(), 1);
}

#[test]
fn a_capture_that_cannot_be_judged_is_kept_and_says_why() {
    let scratch = Scratch::new();
    let folder = scratch.path("capture");
    capture(&folder, 3, MAY, None);
    let archive = archive(&scratch, "a");
    let drive = archive.keep(&folder, Texts::default(), None, &at(MAY)).unwrap();
    let judgement = &drive.manifest.judgements[0];
    assert_eq!(judgement.failed.as_deref(), Some("there is no vehicle file"));
    let again = archive.rejudge(&drive, by(VEHICLE), &at(MAY)).unwrap();
    assert_eq!(again.drive.manifest.judgements.len(), 2);
    assert!(again.drive.manifest.judged().is_some());
}

#[test]
fn a_folder_without_one_whole_block_and_one_being_recorded_are_refused() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let empty = scratch.path("empty");
    fs::create_dir(&empty).unwrap();
    fs::write(empty.join("segment-000001.wwc"), "").unwrap();
    let error = archive.keep(&empty, Texts::default(), None, &at(MAY)).unwrap_err();
    assert!(error.to_string().contains("nothing to keep"), "{error}");
    let busy = scratch.path("busy");
    capture(&busy, 4, MAY, Some(VEHICLE));
    let lock = fs::File::create(busy.join("recorder.lock")).unwrap();
    lock.try_lock().unwrap();
    let error = archive.keep(&busy, Texts::default(), None, &at(MAY)).unwrap_err();
    assert!(error.to_string().contains("being recorded"), "{error}");
    drop(lock);
    archive.keep(&busy, Texts::default(), None, &at(MAY)).unwrap();
}

#[test]
fn a_keeping_that_is_cut_off_leaves_no_drive_and_is_done_again() {
    let scratch = Scratch::new();
    let folder = scratch.path("capture");
    capture(&folder, 5, MAY, Some(VEHICLE));
    let archive = archive(&scratch, "a");
    let cut = |_: &_, _: Beside<'_>, _: &_| -> Result<_, String> { panic!("power") };
    let bench = Bench { judge: &cut, program: "0", now_ns: MAY };
    let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        archive.keep(&folder, Texts::default(), None, &bench).map(|_| ())
    }));
    assert!(done.is_err());
    let listing = archive.list().unwrap();
    assert_eq!((listing.drives.len(), listing.leftovers.len()), (0, 1));
    archive.keep(&folder, Texts::default(), None, &at(MAY)).unwrap();
    let listing = archive.list().unwrap();
    assert_eq!((listing.drives.len(), listing.leftovers.len()), (1, 0));
}

#[test]
fn drives_are_found_by_date_vehicle_mode_claim_verdict_and_note() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    for id in 1..=3 {
        kept(&scratch, &archive, id, i64::from(id));
    }
    let second = archive.find("2026-05-19").unwrap();
    archive.note(&second, "New REAR tyres", MAY + 9 * DAY).unwrap();
    let found = |w: Wanted| {
        let drives = archive.list().unwrap().drives;
        drives.iter().filter(|d| w.fits(&d.manifest)).count()
    };
    let text = |t: &str| Some(t.to_string());
    let said = second.manifest.judged().unwrap().claims[0].clone();
    let mode = second.manifest.judged().unwrap().modes[0].clone();
    let other = [Verdict::Proven, Verdict::Disproven].into_iter().find(|v| *v != said.verdict);
    for (wanted, count) in [
        (Wanted::default(), 3),
        (Wanted { from_ns: Some(MAY + 2 * DAY), ..Wanted::default() }, 2),
        (Wanted { before_ns: Some(MAY + 2 * DAY), ..Wanted::default() }, 1),
        (Wanted { vehicle: text("WAGON"), ..Wanted::default() }, 3),
        (Wanted { vehicle: text("lorry"), ..Wanted::default() }, 0),
        (Wanted { mode: Some(mode), ..Wanted::default() }, 3),
        (Wanted { mode: text("no such mode"), ..Wanted::default() }, 0),
        (Wanted { note: text("rear TYRES"), ..Wanted::default() }, 1),
        (Wanted { claim: Some(said.id.clone()), ..Wanted::default() }, 3),
        (
            Wanted {
                claim: Some(said.id.clone()),
                verdict: Some(said.verdict),
                ..Wanted::default()
            },
            3,
        ),
        (Wanted { claim: Some(said.id), verdict: other, ..Wanted::default() }, 0),
    ] {
        assert_eq!(found(wanted.clone()), count, "{wanted:?}");
    }
}

#[test]
fn five_hundred_drives_are_listed_by_opening_five_hundred_files() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let mut one = kept(&scratch, &archive, 1, 0);
    one = archive.note(&one, "a second generation", MAY).unwrap();
    for n in 0..499u32 {
        let mut m = one.manifest.clone();
        m.recording.id = format!("{:032x}", u128::from(n + 1) << 96);
        m.drive =
            wheelwitness_archive::name::DriveId::of(&m.recording.id, m.recording.started_wall_ns)
                .unwrap();
        let folder = archive.folder_of(&m.drive);
        fs::create_dir(&folder).unwrap();
        fs::write(m.file_name().below(&folder), m.text()).unwrap();
    }
    let before = archive.files_opened();
    let listing = archive.list().unwrap();
    assert_eq!((listing.drives.len(), listing.unreadable.len()), (500, 0));
    assert_eq!(archive.files_opened() - before, 500);
}

#[test]
fn two_at_once_do_not_change_an_archive() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let held = archive.hold().unwrap();
    assert!(archive.note(&drive, "x", MAY).unwrap_err().to_string().contains("somebody else"));
    drop(held);
    archive.note(&drive, "x", MAY).unwrap();
    let _ = judge;
}
