//! Names: of drives, and of files within a drive. Only names that the archive itself would give
//! exist as values, so that no name from outside can lead anywhere else.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::path::{Path, PathBuf};
use wheelwitness_capture::write::segment_number;

/// Name of a drive's folder: date of the start and the first digits of the recording id.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct DriveId(String);

/// Hexadecimal digits of the recording id in the name of a drive.
const ID_DIGITS: usize = 12;

impl DriveId {
    /// The name of the drive of a recording (its id in hexadecimal) that began at a wall-clock
    /// time; `None` if the id is no recording id.
    ///
    /// ```
    /// use wheelwitness_archive::name::DriveId;
    /// let id = DriveId::of(&"0b1c2d3e4f50".repeat(3)[..32], Some(1_779_021_000_000_000_000));
    /// assert_eq!(id.unwrap().to_string(), "2026-05-17-0b1c2d3e4f50");
    /// ```
    pub fn of(recording: &str, started_wall_ns: Option<i64>) -> Option<DriveId> {
        let sound = recording.len() == 32 && recording.bytes().all(is_hex);
        let date = started_wall_ns.and_then(date).unwrap_or_else(|| "undated".into());
        sound.then(|| DriveId(format!("{date}-{}", &recording[..ID_DIGITS])))
    }

    /// Reads a name; `None` for anything that is no name of a drive.
    pub fn parse(text: &str) -> Option<DriveId> {
        let (date, id) = text.rsplit_once('-')?;
        let sound = id.len() == ID_DIGITS && id.bytes().all(is_hex);
        (sound && (date == "undated" || is_date(date))).then(|| DriveId(text.into()))
    }

    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

fn is_hex(b: u8) -> bool {
    matches!(b, b'0'..=b'9' | b'a'..=b'f')
}

/// `YYYY-MM-DD` of a wall-clock time, UTC. A clock that was never set is no date.
fn date(wall_ns: i64) -> Option<String> {
    let at = jiff::Timestamp::from_nanosecond(wall_ns.into()).ok()?;
    let text = at.strftime("%Y-%m-%d").to_string();
    (wall_ns > 0 && is_date(&text)).then_some(text)
}

fn is_date(text: &str) -> bool {
    let b = text.as_bytes();
    b.len() == 10
        && b.iter().enumerate().all(|(k, c)| match k {
            4 | 7 => *c == b'-',
            _ => c.is_ascii_digit(),
        })
}

impl fmt::Display for DriveId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl TryFrom<String> for DriveId {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        DriveId::parse(&text).ok_or_else(|| "this is no name of a drive".into())
    }
}

impl From<DriveId> for String {
    fn from(id: DriveId) -> String {
        id.0
    }
}

/// Name of a file within a drive's folder.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct FileName(String);

/// What a file within a drive is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// A manifest: its generation.
    Manifest(u32),
    /// A segment of the capture.
    Segment,
    /// A vehicle file: its number.
    Vehicle(u32),
    /// A hand sheet: its number.
    Hand(u32),
    /// The result of a judgement: its number.
    Result(u32),
    /// A page, summary or figure of a judgement, which can be made again: its number.
    Page(u32),
}

impl FileName {
    /// Reads a name; `None` for anything that no drive's folder holds: other words, other
    /// folders, links upward, other separators.
    ///
    /// ```
    /// use wheelwitness_archive::name::FileName;
    /// assert!(FileName::parse("capture/segment-000001.wwc").is_some());
    /// assert!(FileName::parse("capture/../../escaped").is_none());
    /// ```
    pub fn parse(text: &str) -> Option<FileName> {
        role(text).map(|_| FileName(text.into()))
    }

    /// A segment of the capture.
    pub fn segment(name: &str) -> Option<FileName> {
        FileName::parse(&format!("capture/{name}"))
    }

    /// Vehicle file by number.
    pub fn vehicle(number: u32) -> FileName {
        FileName(format!("vehicle-{number:06}.toml"))
    }

    /// Hand sheet by number.
    pub fn hand(number: u32) -> FileName {
        FileName(format!("hand-{number:06}.toml"))
    }

    /// Result of a judgement by number.
    pub fn result(number: u32) -> FileName {
        FileName(format!("{}/result.json", report_folder(number)))
    }

    /// A manifest by generation and the SHA-256 of its bytes.
    pub fn manifest(generation: u32, sha256: &str) -> FileName {
        let digits = &sha256[..sha256.len().min(HASH_DIGITS)];
        FileName(format!("manifest-{generation:06}-{digits}.json"))
    }

    /// What it is.
    pub fn role(&self) -> Role {
        role(&self.0).expect("a name exists only if it has a role")
    }

    /// For a manifest, the digits of its hash.
    pub fn hash_digits(&self) -> Option<&str> {
        self.0.strip_prefix("manifest-")?.strip_suffix(".json")?.split('-').nth(1)
    }

    /// The name as text, with `/`.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Where it is, in a drive's folder.
    pub fn below(&self, folder: &Path) -> PathBuf {
        self.0.split('/').fold(folder.to_owned(), |path, part| path.join(part))
    }
}

impl fmt::Display for FileName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl TryFrom<String> for FileName {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        FileName::parse(&text).ok_or_else(|| "this is no name of a file of a drive".into())
    }
}

impl From<FileName> for String {
    fn from(name: FileName) -> String {
        name.0
    }
}

/// Name of the folder of a report.
pub fn report_folder(number: u32) -> String {
    format!("report-{number:06}")
}

/// Digits of the hash in the name of a manifest.
const HASH_DIGITS: usize = 16;

fn role(text: &str) -> Option<Role> {
    if let Some(rest) = text.strip_prefix("capture/") {
        return segment_number(rest).map(|_| Role::Segment);
    }
    if let Some(rest) = text.strip_prefix("vehicle-") {
        return numbered(rest.strip_suffix(".toml")?).map(Role::Vehicle);
    }
    if let Some(rest) = text.strip_prefix("hand-") {
        return numbered(rest.strip_suffix(".toml")?).map(Role::Hand);
    }
    if let Some(rest) = text.strip_prefix("manifest-") {
        let (number, hash) = rest.strip_suffix(".json")?.split_once('-')?;
        let sound = hash.len() == HASH_DIGITS && hash.bytes().all(is_hex);
        return numbered(number).filter(|_| sound).map(Role::Manifest);
    }
    let (number, file) = text.strip_prefix("report-")?.split_once('/')?;
    let number = numbered(number)?;
    match file {
        "result.json" => Some(Role::Result(number)),
        "report.html" | "summary.txt" => Some(Role::Page(number)),
        _ => is_figure(file).then_some(Role::Page(number)),
    }
}

/// Six digits, from 1.
fn numbered(text: &str) -> Option<u32> {
    let sound = text.len() == 6 && text.bytes().all(|b| b.is_ascii_digit());
    text.parse().ok().filter(|n| sound && *n > 0)
}

fn is_figure(file: &str) -> bool {
    let stem = |f: &str| {
        (1..=60).contains(&f.len())
            && f.bytes().all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'-'))
    };
    let name = file.strip_prefix("figures/");
    name.and_then(|n| n.strip_suffix(".svg").or(n.strip_suffix(".png"))).is_some_and(stem)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_figures_and_manifests_have_no_other_form() {
        for good in [
            "report-000001/figures/balance.svg",
            "report-000012/figures/selections-2.png",
            "manifest-000001-0123456789abcdef.json",
            "vehicle-000002.toml",
            "hand-000001.toml",
            "capture/segment-000001.wwc",
        ] {
            assert!(FileName::parse(good).is_some(), "{good}");
        }
        for bad in [
            "report-000001/figures/../x.svg",
            "report-000001/figures/.svg",
            "report-1/result.json",
            "report-000000/result.json",
            "manifest-000001-0123456789abcdeF.json",
            "vehicle-000002.toml/",
            "hand-000000.toml",
            "hand-1.toml",
            "/vehicle-000002.toml",
            "capture\\segment-000001.wwc",
            "capture/segment-1.wwc",
            "",
        ] {
            assert!(FileName::parse(bad).is_none(), "{bad}");
        }
        assert!(DriveId::parse("2026-05-17-0b1c2d3e4f50").is_some());
        assert!(DriveId::parse("undated-0b1c2d3e4f50").is_some());
        for bad in ["..-0b1c2d3e4f50", "2026-05-17-0b1c2d3e4f5/", "2026-05-1/-0b1c2d3e4f50", "x"] {
            assert!(DriveId::parse(bad).is_none(), "{bad}");
        }
    }
}
