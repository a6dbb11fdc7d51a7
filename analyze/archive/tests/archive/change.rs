//! Notes and judgements are added; nothing is replaced.

use crate::bench::{DAY, MAY, Scratch, archive, at, by, contents, kept};
use std::fs;
use wheelwitness_analyze::result::Verdict;
use wheelwitness_archive::judgement::Texts;

#[test]
fn a_note_or_a_judgement_changes_no_file_that_was_there() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let before = contents(&drive.folder);
    let drive = archive.note(&drive, "one", MAY + DAY).unwrap();
    let drive = archive.note(&drive, "two", MAY + 2 * DAY).unwrap();
    let drive = archive.rejudge(&drive, by("other"), &at(MAY + 3 * DAY)).unwrap().drive;
    let after = contents(&drive.folder);
    assert!(before.iter().all(|file| after.contains(file)));
    let notes: Vec<_> = drive.manifest.notes.iter().map(|n| n.text.as_str()).collect();
    assert_eq!((notes, drive.manifest.generation), (vec!["one", "two"], 4));
    assert!(archive.verify(&drive).unwrap().is_whole());
}

#[test]
fn judged_again_the_old_result_stays_and_the_differences_are_told() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let first = kept(&scratch, &archive, 1, 0);
    let same = archive.rejudge(&first, Texts::default(), &at(MAY + DAY)).unwrap();
    assert_eq!(same.differences, []);
    let other = archive.rejudge(&same.drive, by("other"), &at(MAY + 2 * DAY)).unwrap();
    let claim = &first.manifest.judged().unwrap().claims[0];
    assert_eq!(other.differences.len(), 1);
    let d = &other.differences[0];
    assert_eq!((&d.id, &d.scope, d.before), (&claim.id, &claim.scope, Some(claim.verdict)));
    assert_ne!(d.now, d.before);
    let folder = &other.drive.folder;
    for n in 1..=3 {
        assert!(folder.join(format!("report-00000{n}/result.json")).is_file());
    }
    assert_eq!(fs::read_to_string(folder.join("vehicle-000002.toml")).unwrap(), "other");
    let by = |n: usize| other.drive.manifest.judgements[n].vehicle_file.clone().unwrap();
    assert_eq!(by(0), by(1));
    assert_eq!(by(2).as_str(), "vehicle-000002.toml");
    let again = archive.rejudge(&other.drive, Texts::default(), &at(MAY + 3 * DAY)).unwrap();
    assert_eq!(again.differences, [], "by the vehicle file that it was judged by last");
}

#[test]
fn a_judgement_that_was_cut_off_is_passed_over_and_told() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    fs::create_dir_all(drive.folder.join("report-000002")).unwrap();
    fs::write(drive.folder.join("report-000002/result.json"), "half").unwrap();
    let found = archive.verify(&drive).unwrap();
    assert!(found.is_whole() && found.remarks[0].contains("not in the manifest"), "{found:?}");
    let drive = archive.rejudge(&drive, Texts::default(), &at(MAY)).unwrap().drive;
    assert_eq!(drive.manifest.judgements[1].number, 3);
    let half = fs::read_to_string(drive.folder.join("report-000002/result.json")).unwrap();
    assert_eq!(half, "half");
}

#[test]
fn a_hand_sheet_is_kept_with_its_drive_and_judged_by_again() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    assert_eq!(drive.manifest.schema, "wheelwitness-drive/1", "no sheet, no new format");
    let sheet = Texts { hand: Some("turned by hand"), ..Texts::default() };
    let drive = archive.rejudge(&drive, sheet, &at(MAY + DAY)).unwrap().drive;
    let file = drive.folder.join("hand-000001.toml");
    assert_eq!(fs::read_to_string(file).unwrap(), "turned by hand");
    let said = drive.manifest.judgements.last().unwrap();
    assert_eq!(said.hand_file.as_ref().unwrap().as_str(), "hand-000001.toml");
    assert_eq!(said.claims[0].verdict, Verdict::Disproven);
    assert_eq!(drive.manifest.schema, "wheelwitness-drive/2");
    // By whatever vehicle file, and by a newer program: the sheet goes on counting.
    let drive = archive.rejudge(&drive, by("other"), &at(MAY + 2 * DAY)).unwrap().drive;
    let said = drive.manifest.judgements.last().unwrap();
    assert_eq!(said.claims[0].verdict, Verdict::Disproven);
    assert!(archive.verify(&drive).unwrap().is_whole());
    let whole = archive.list().unwrap();
    assert_eq!(whole.drives.len(), 1);
}
