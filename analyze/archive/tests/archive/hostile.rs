//! Packs from somebody who means harm. Each is made here from a sound one: one thing is changed,
//! and the manifest is made to fit where that makes the attack better.

use crate::bench::{Scratch, archive, contents, kept};
use proptest::prelude::*;
use std::fs;
use std::path::{Component, Path, PathBuf};
use tar::{EntryType, Header};
use wheelwitness_archive::archive::{Archive, Drive};
use wheelwitness_archive::disk::sha256;
use wheelwitness_archive::manifest::Manifest;
use wheelwitness_archive::name::{DriveId, FileName};

/// An entry as bytes: name, kind, declared size (`None` for the true one), content.
struct Entry {
    name: Vec<u8>,
    kind: EntryType,
    size: Option<u64>,
    link: Vec<u8>,
    content: Vec<u8>,
}

fn file(name: impl Into<Vec<u8>>, content: impl Into<Vec<u8>>) -> Entry {
    let (name, content) = (name.into(), content.into());
    Entry { name, kind: EntryType::Regular, size: None, link: vec![], content }
}

fn special(name: impl Into<Vec<u8>>, kind: EntryType, link: &str) -> Entry {
    Entry { name: name.into(), kind, size: Some(0), link: link.into(), content: vec![] }
}

/// A tar file of entries, whatever they say; names are put in as they are.
fn tar_of(entries: &[Entry]) -> Vec<u8> {
    let mut out = Vec::new();
    for e in entries {
        let mut header = Header::new_gnu();
        let raw = header.as_old_mut();
        let n = e.name.len().min(100);
        raw.name[..n].copy_from_slice(&e.name[..n]);
        raw.linkname[..e.link.len()].copy_from_slice(&e.link);
        header.set_entry_type(e.kind);
        header.set_size(e.size.unwrap_or(e.content.len() as u64));
        header.set_mode(0o644);
        header.set_cksum();
        out.extend_from_slice(header.as_bytes());
        out.extend_from_slice(&e.content);
        out.resize(out.len().next_multiple_of(512), 0);
    }
    out.resize(out.len() + 1024, 0);
    out
}

/// The entries of a sound pack.
fn sound(drive: &Drive) -> Vec<Entry> {
    let m = &drive.manifest;
    let mut entries = vec![manifest(m)];
    for f in m.files.iter().filter(|f| !f.is_page()) {
        let bytes = fs::read(f.name.below(&drive.folder)).unwrap();
        entries.push(file(format!("{}/{}", drive.id, f.name), bytes));
    }
    entries
}

fn manifest(m: &Manifest) -> Entry {
    file(format!("{}/{}", m.drive, m.file_name()), m.text())
}

/// A manifest text that this program would not write, under the name that its hash gives.
fn forged(drive: &Drive, text: &str) -> Entry {
    let name = FileName::manifest(1, &sha256(text.as_bytes()));
    file(format!("{}/{name}", drive.id), text)
}

type Attack = (&'static str, Vec<Entry>);

fn with(drive: &Drive, more: Entry) -> Vec<Entry> {
    let mut entries = sound(drive);
    entries.push(more);
    entries
}

/// The sound pack with the manifest's text changed and its hash made right.
fn retold(drive: &Drive, from: &str, to: &str) -> Vec<Entry> {
    let text = drive.manifest.text();
    let changed = text.replacen(from, to, 1);
    assert_ne!(changed, text, "{from} is in a manifest");
    let mut entries = sound(drive);
    entries[0] = forged(drive, &changed);
    entries
}

/// The first segment under a name that leads out, in the manifest too.
fn segment_called(drive: &Drive, name: &str) -> Vec<Entry> {
    let segment = "capture/segment-000001.wwc";
    let mut entries = retold(drive, segment, name);
    let is_segment = |e: &&mut Entry| e.name.ends_with(segment.as_bytes());
    let entry = entries.iter_mut().find(is_segment).expect("a drive has a segment");
    entry.name = format!("{}/{name}", drive.id).into();
    entries
}

fn names(drive: &Drive) -> Vec<Attack> {
    let id = drive.id.as_str();
    let long = format!("{id}/{}", "a".repeat(300));
    vec![
        ("up and out", with(drive, file("../escaped", "x"))),
        ("up and out of the drive", with(drive, file(format!("{id}/../../escaped"), "x"))),
        (
            "up through the capture",
            with(drive, file(format!("{id}/capture/../../../escaped"), "x")),
        ),
        ("listed, and out", segment_called(drive, "capture/../../../escaped")),
        ("dots that hide dots", with(drive, file(format!("{id}/..././..././escaped"), "x"))),
        ("absolute", with(drive, file("/tmp/wheelwitness-escaped", "x"))),
        ("absolute within", with(drive, file(format!("{id}//tmp/wheelwitness-escaped"), "x"))),
        ("a drive letter", with(drive, file("C:\\escaped", "x"))),
        ("backslashes", with(drive, file(format!("{id}\\..\\..\\escaped"), "x"))),
        ("a zero in the name", with(drive, file(format!("{id}/vehicle-000009.toml\0/../x"), "x"))),
        ("no UTF-8", with(drive, file(vec![0xff, 0xfe, b'/', b'x'], "x"))),
        ("300 characters", with(drive, file(long, "x"))),
        ("an empty name", with(drive, file("", "x"))),
        ("a hidden file", with(drive, file(format!("{id}/.lock"), "x"))),
        ("the lock of the archive", with(drive, file(".lock", "x"))),
        ("another drive", with(drive, file("2026-05-18-222222222222/vehicle-000001.toml", "x"))),
        ("a page with a script", with(drive, file(format!("{id}/report-000001/report.html"), "x"))),
    ]
}

fn kinds(drive: &Drive) -> Vec<Attack> {
    let id = drive.id.as_str();
    let name = format!("{id}/vehicle-000002.toml");
    let mut through = vec![special(format!("{id}/capture"), EntryType::Symlink, "/tmp")];
    through.extend(sound(drive));
    let mut disguised = sound(drive);
    disguised[1].kind = EntryType::Symlink;
    disguised[1].link = b"/etc/passwd".to_vec();
    let mut renamed = sound(drive);
    let gnu = Entry { kind: EntryType::GNULongName, ..file("././@LongLink", "../../escaped\0") };
    renamed.insert(1, gnu);
    let mut told = sound(drive);
    told.insert(1, Entry { kind: EntryType::XHeader, ..file("x", "22 path=../../escaped\n") });
    let mut everywhere = sound(drive);
    let global = Entry { kind: EntryType::XGlobalHeader, ..file("x", "20 path=/tmp/escaped\n") };
    everywhere.insert(0, global);
    vec![
        ("a symbolic link", with(drive, special(name.clone(), EntryType::Symlink, "/etc/passwd"))),
        ("a link, then written through", through),
        ("a link with the name and the bytes of a listed file", disguised),
        ("a hard link", with(drive, special(name.clone(), EntryType::Link, "../../x"))),
        ("a character device", with(drive, special(name.clone(), EntryType::Char, ""))),
        ("a block device", with(drive, special(name.clone(), EntryType::Block, ""))),
        ("a pipe", with(drive, special(name.clone(), EntryType::Fifo, ""))),
        ("a folder", with(drive, special(format!("{id}/x/"), EntryType::Directory, ""))),
        ("a file with holes", with(drive, special(name, EntryType::GNUSparse, ""))),
        ("a long name for the next entry", renamed),
        ("a path for the next entry", told),
        ("a path for all entries", everywhere),
    ]
}

fn sizes(drive: &Drive) -> Vec<Attack> {
    let huge = |size: u64| {
        let mut entries = sound(drive);
        entries[1].size = Some(size);
        entries
    };
    let mut twice = sound(drive);
    twice.push(sound(drive).remove(1));
    let mut missing = sound(drive);
    missing.pop();
    let mut bomb = sound(drive);
    bomb[0].size = Some(1 << 40);
    let segment = drive.manifest.files[0].bytes;
    let many = (0..100_000).map(|_| file(format!("{}/x", drive.id), "")).collect::<Vec<_>>();
    vec![
        ("eight exabytes", huge(1 << 63)),
        ("all bits of the length", huge(u64::MAX)),
        ("one byte more than there is", huge(segment + 1)),
        ("a manifest of a terabyte", bomb),
        ("a file twice", twice),
        ("a file missing", missing),
        ("100,000 entries", with_all(sound(drive), many)),
        ("no entries", vec![]),
        (
            "a manifest that promises more than is allowed",
            retold(drive, &format!("\"bytes\": {segment}"), "\"bytes\": 9000000000000000000"),
        ),
        ("a manifest that lists a way out", retold(drive, "vehicle-000001.toml", "../../escaped")),
        ("a manifest of another drive", {
            let mut m = drive.manifest.clone();
            m.recording.id = "5".repeat(32);
            m.drive = DriveId::of(&m.recording.id, m.recording.started_wall_ns).unwrap();
            let mut entries = sound(drive);
            entries[0] = manifest(&m);
            entries
        }),
        ("a manifest that lies about holes", retold(drive, "\"records\": 42", "\"records\": 41")),
    ]
}

fn with_all(mut entries: Vec<Entry>, more: Vec<Entry>) -> Vec<Entry> {
    entries.extend(more);
    entries
}

/// Everything outside the archive's own lock, before and after.
fn outside(scratch: &Scratch) -> Vec<(PathBuf, Vec<u8>)> {
    let mut all = contents(&scratch.0);
    all.retain(|(p, _)| !p.ends_with(".lock") && !p.ends_with("hostile.tar"));
    all
}

fn refused(there: &Archive, scratch: &Scratch, what: &str, pack: &[u8]) {
    let path = scratch.path("hostile.tar");
    fs::write(&path, pack).unwrap();
    let before = outside(scratch);
    let error = there.unpack(&path, 1_000_000).map(|d| d.id).unwrap_err().to_string();
    assert!(error.contains("nothing was taken in"), "{what}: {error}");
    assert_eq!(outside(scratch), before, "{what}");
    assert!(there.list().unwrap().leftovers.is_empty(), "{what}");
    assert!(!Path::new("/tmp/wheelwitness-escaped").exists(), "{what}");
}

#[test]
fn no_hostile_pack_writes_a_file_anywhere() {
    let scratch = Scratch::new();
    let here = archive(&scratch, "here");
    let drive = kept(&scratch, &here, 1, 0);
    let there = archive(&scratch, "there");
    let attacks = [names(&drive), kinds(&drive), sizes(&drive)].concat_all();
    assert!(attacks.len() >= 35, "{} attacks", attacks.len());
    for (what, entries) in attacks {
        refused(&there, &scratch, what, &tar_of(&entries));
    }
    for (what, bytes) in [
        ("text", b"this is no tar file".repeat(100)),
        ("a gzip magic", [&[0x1f, 0x8b, 8, 0][..], &[7; 2000]].concat()),
        ("zeros", vec![0; 4096]),
        ("nothing", vec![]),
    ] {
        refused(&there, &scratch, what, &bytes);
    }
    let path = scratch.path("sound.tar");
    fs::write(&path, tar_of(&sound(&drive))).unwrap();
    let arrived = there.unpack(&path, 1_000_000).unwrap();
    assert_eq!(arrived.manifest, drive.manifest, "the same maker's sound pack is taken in");
}

trait ConcatAll {
    fn concat_all(self) -> Vec<Attack>;
}

impl<const N: usize> ConcatAll for [Vec<Attack>; N] {
    fn concat_all(self) -> Vec<Attack> {
        self.into_iter().flatten().collect()
    }
}

#[test]
fn a_drive_larger_than_allowed_is_refused_before_anything_is_written() {
    let scratch = Scratch::new();
    let here = archive(&scratch, "here");
    let drive = kept(&scratch, &here, 1, 0);
    let pack = scratch.path("one.tar");
    here.pack(&drive, &pack).unwrap();
    let there = archive(&scratch, "there");
    let error = there.unpack(&pack, 100).unwrap_err().to_string();
    assert!(error.contains("100 are allowed"), "{error}");
    assert_eq!(contents(there.folder()).len(), 1);
}

proptest! {
    #[test]
    fn no_text_is_a_name_that_leads_out(
        parts in proptest::collection::vec(
            prop_oneof![
                Just("..".to_string()), Just(".".into()), Just("capture".into()),
                Just("segment-000001.wwc".into()), Just("report-000001".into()),
                Just("figures".into()), Just("a.svg".into()), Just("vehicle-000001.toml".into()),
                Just("".into()), Just("\\".into()), any::<String>(),
            ], 1..6),
    ) {
        let folder = Path::new("archive/drive");
        if let Some(name) = FileName::parse(&parts.join("/")) {
            let path = name.below(folder);
            let rest = path.strip_prefix(folder).unwrap();
            prop_assert!(rest.components().all(|c| matches!(c, Component::Normal(_))));
            prop_assert!((1..=3).contains(&rest.components().count()));
        }
        if let Some(id) = DriveId::parse(&parts.join("/")) {
            prop_assert_eq!(Path::new(id.as_str()).components().count(), 1);
        }
    }

    #[test]
    fn any_bytes_are_no_manifest_and_no_panic(
        bytes in proptest::collection::vec(any::<u8>(), 0..600),
    ) {
        let name = FileName::manifest(1, &sha256(&bytes));
        prop_assert!(Manifest::read(&name, &bytes).is_err());
    }
}
