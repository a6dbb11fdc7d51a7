//! The command `signature`, on simulated drives that were judged.

use crate::scratch::Folder;
use std::process::Command;
use wheelwitness::{exit, run};

/// A capture of a short drive that selects full-time, judged; faults as the rig takes them.
fn judged(folder: &Folder, name: &str, faults: &[&str]) -> String {
    let file = |what: &str| folder.path(&format!("{name}-{what}"));
    let drive =
        "wait 2\nselect full-time\nawait 15 at 1\nspeed 2\nstraight 20 at 2\nstop\nwait 1\n";
    let script = folder.write(&format!("{name}-script"), drive.as_bytes());
    let (wire, vehicle, capture) = (file("wire"), file("vehicle"), file("capture"));
    let mut rig = vec!["wheelwitness", "rig", "--seed", "4", "--script", &script];
    rig.extend(["--wire-lines", &wire, "--vehicle-out", &vehicle]);
    rig.extend(faults.iter().flat_map(|f| ["--fault", f]));
    assert_eq!(run(&rig), exit::DONE);
    assert_eq!(
        run(["wheelwitness", "import-wire", &wire, &capture, "--vehicle", &vehicle]),
        exit::DONE
    );
    assert_eq!(run(["wheelwitness", "judge", &capture]), exit::DONE);
    capture
}

/// Exit code and what was said.
fn signature(reference: &str, drive: &str) -> (i32, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_wheelwitness"))
        .args(["signature", reference, drive])
        .output()
        .expect("the program starts");
    let text = String::from_utf8([out.stdout, out.stderr].concat()).expect("text");
    (out.status.code().expect("an exit code"), text)
}

#[test]
fn a_slow_motor_parts_from_the_reference_where_it_stops_late() {
    let folder = Folder::new("signature");
    let good = judged(&folder, "good", &[]);
    let slow = judged(&folder, "slow", &["slow-motor factor=3"]);
    let (code, text) = signature(&good, &slow);
    assert_eq!(code, exit::DONE, "{text}");
    assert!(text.contains("parts from the reference at: limit contacts changed"), "{text}");
    assert!(text.contains("* motor stopped") && text.contains("  motor energised"), "{text}");
    let itself = format!("{good}/report/result.json");
    let (_, text) = signature(&good, &itself);
    assert!(text.contains("1 of 1 selection went as in the reference"), "{text}");
}

#[test]
fn a_folder_without_a_report_is_told_what_to_do_first() {
    let folder = Folder::new("signature-none");
    let (code, text) = signature(&folder.path("."), &folder.path("."));
    assert_eq!(code, exit::UNREADABLE, "{text}");
    assert!(text.contains("first: wheelwitness judge"), "{text}");
}
