//! The command `rig`.

use crate::scratch::Folder;
use wheelwitness::run;
use wheelwitness_driveline::vehicle::Vehicle;

#[test]
fn it_writes_wire_lines_truth_facts_and_vehicle_and_overwrites_nothing() {
    let folder = Folder::new("rig-files");
    let file = |name: &str| folder.path(name);
    let script = file("script.txt");
    std::fs::write(&script, "speed 2\nstraight 5 at 2\nstop\n").unwrap();
    let line: Vec<String> = ["wheelwitness", "rig", "--seed", "4", "--script", &script]
        .map(String::from)
        .into_iter()
        .chain(["--fault".into(), "slow-motor factor=3".into()])
        .chain(["--wire-lines".into(), file("wire"), "--truth".into(), file("truth")])
        .chain(["--facts".into(), file("facts"), "--vehicle-out".into(), file("vehicle")])
        .collect();
    assert_eq!(run(&line), 0);
    let wire = std::fs::read_to_string(file("wire")).unwrap();
    for line in wire.lines().filter(|l| !l.starts_with('#')) {
        let parts: Vec<_> = line.split(' ').collect();
        assert_eq!(parts.len(), 3, "{line}");
        assert!(parts[0].parse::<i64>().is_ok() && ["board", "gnss"].contains(&parts[1]));
    }
    let truth: wheelwitness_rig::Truth =
        serde_json::from_str(&std::fs::read_to_string(file("truth")).unwrap()).unwrap();
    assert_eq!(truth.seed, 4);
    let vehicle = std::fs::read_to_string(file("vehicle")).unwrap();
    assert!(Vehicle::parse(&vehicle, "vehicle").is_ok());
    assert_eq!(run(&line), 6, "the second time every file is there already");
}

#[test]
fn what_cannot_be_read_ends_with_a_code_of_its_own() {
    assert_eq!(run(["wheelwitness", "rig", "--fault", "no-such-fault"]), 2);
    assert_eq!(run(["wheelwitness", "rig", "--script", "no-such-script"]), 3);
    assert_eq!(run(["wheelwitness", "rig", "--clock-scale", "0"]), 2);
}
