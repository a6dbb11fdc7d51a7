//! Manifests: cut, damaged, newer, or written by somebody who wants something.

use crate::bench::{MAY, Scratch, archive, kept};
use std::collections::BTreeSet;
use std::fs;
use wheelwitness_archive::disk::sha256;
use wheelwitness_archive::manifest::{Manifest, NoManifest};
use wheelwitness_archive::name::FileName;

/// A manifest text under the name that its hash gives it.
fn read(generation: u32, text: &str) -> Result<Manifest, NoManifest> {
    Manifest::read(&FileName::manifest(generation, &sha256(text.as_bytes())), text.as_bytes())
}

#[test]
fn wherever_the_writing_of_a_manifest_is_cut_the_drive_has_the_old_one_or_the_new_one() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let old = kept(&scratch, &archive, 1, 0);
    let new = archive.note(&old, "after", MAY).unwrap();
    let path = new.manifest.file_name().below(&new.folder);
    let whole = fs::read(&path).unwrap();
    for cut in 0..whole.len() {
        fs::write(&path, &whole[..cut]).unwrap();
        let found = archive.drive(&old.id).unwrap();
        assert_eq!(found.manifest, old.manifest, "cut at {cut}");
        assert_eq!(found.passed_over.len(), 1);
        if cut % 500 == 0 {
            let refused = archive.note(&found, "on damage", MAY).unwrap_err();
            assert!(refused.to_string().contains("nothing was changed"), "{refused}");
        }
    }
    fs::write(&path, &whole).unwrap();
    assert_eq!(archive.drive(&old.id).unwrap().manifest, new.manifest);
}

#[test]
fn one_flipped_bit_anywhere_in_a_manifest_is_found() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let drive = kept(&scratch, &archive, 1, 0);
    let name = drive.manifest.file_name();
    let mut bytes = fs::read(name.below(&drive.folder)).unwrap();
    for at in 0..bytes.len() {
        bytes[at] ^= 1 << (at % 8);
        assert_eq!(Manifest::read(&name, &bytes), Err(NoManifest::Hash));
        bytes[at] ^= 1 << (at % 8);
    }
}

#[test]
fn a_newer_format_is_refused_by_its_name_and_an_unknown_key_by_the_key() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let m = kept(&scratch, &archive, 1, 0).manifest;
    let text = m.text();
    assert_eq!(read(1, &text).as_ref(), Ok(&m));
    let newer = text.replace("wheelwitness-drive/1", "wheelwitness-drive/3");
    let error = read(1, &newer).unwrap_err();
    assert_eq!(error, NoManifest::Newer("wheelwitness-drive/3".into()));
    assert!(error.to_string().contains("use a newer wheelwitness"));
    let sheet = text.replace("vehicle-000001.toml", "hand-000001.toml");
    assert!(read(1, &sheet).unwrap_err().to_string().contains("hand sheet"), "version 1 has none");
    let unknown = text.replacen("  \"notes\"", "  \"colour\": 3,\n  \"notes\"", 1);
    assert!(read(1, &unknown).unwrap_err().to_string().contains("`colour`"));
    for other in ["", "{}", "[]", "{\"schema\": \"something/1\"}", "\u{0}\u{0}"] {
        assert!(matches!(read(1, other), Err(NoManifest::Shape(_))), "{other:?}");
    }
}

#[test]
fn a_manifest_that_contradicts_itself_is_refused() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let sound = kept(&scratch, &archive, 1, 0).manifest;
    let changes: [fn(&mut Manifest); 5] = [
        |m| m.recording.id = "ff".repeat(16),
        |m| m.files.push(m.files[0].clone()),
        |m| m.files[0].name = FileName::manifest(1, &"0".repeat(64)),
        |m| m.previous = Some("0".repeat(64)),
        |m| m.generation = 2,
    ];
    for change in changes {
        let mut m = sound.clone();
        change(&mut m);
        let error = read(m.generation, &m.text()).unwrap_err();
        assert!(matches!(error, NoManifest::Contradiction(_)), "{error}");
    }
    let text = sound.text();
    for name in ["../../escaped", "/etc/passwd", "capture/segment-000001.wwc/../x", "C:\\x"] {
        let name = name.replace('\\', "\\\\");
        let bad =
            text.replacen("vehicle-000001.toml\",\n      \"b", &format!("{name}\",\n      \"b"), 1);
        assert_ne!(bad, text);
        assert!(matches!(read(1, &bad), Err(NoManifest::Shape(_))), "{name}");
    }
}

/// Names of all fields of a JSON value, at any depth.
fn fields(json: &serde_json::Value, names: &mut BTreeSet<String>) {
    match json {
        serde_json::Value::Array(all) => all.iter().for_each(|v| fields(v, names)),
        serde_json::Value::Object(all) => all.iter().for_each(|(name, v)| {
            names.insert(name.clone());
            fields(v, names);
        }),
        _ => {}
    }
}

#[test]
fn schemas_names_every_field_of_a_manifest_and_no_other() {
    let scratch = Scratch::new();
    let archive = archive(&scratch, "a");
    let mut drive = archive.note(&kept(&scratch, &archive, 1, 0), "x", MAY).unwrap();
    drive.manifest.recording.sources.push(wheelwitness_archive::manifest::Source {
        name: "board".into(),
        speaks: "pulse board".into(),
        missing: None,
        interruptions: 0,
    });
    let hand = wheelwitness_archive::name::FileName::hand(1);
    drive.manifest.judgements[0].hand_file = Some(hand);
    let mut written = BTreeSet::new();
    fields(&serde_json::from_str(&drive.manifest.text()).unwrap(), &mut written);
    let page = include_str!("../../../SCHEMAS.md");
    let chapter = page.split("## Manifest of a drive").nth(1).unwrap();
    let chapter = chapter.split("\n## ").next().unwrap();
    let rows = chapter.lines().filter_map(|l| l.strip_prefix("| `")?.split('`').next());
    let mut listed: BTreeSet<String> = rows.map(str::to_string).collect();
    // Said in the rows of what they belong to, with "as in the result".
    for name in ["speaks", "missing", "interruptions", "scope", "verdict"] {
        assert!(chapter.contains(&format!("`{name}`")), "{name}");
        listed.insert(name.into());
    }
    assert_eq!(listed, written);
}
