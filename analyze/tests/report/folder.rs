//! The report folder: everything in it, and nothing of others touched.

use crate::fixture;
use std::fs;
use std::path::PathBuf;
use wheelwitness_analyze::report::folder::FolderError;
use wheelwitness_analyze::report::{json, write_folder};

/// A folder that goes away with the test.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        let dir = std::env::temp_dir().join(format!("report-{name}-{}", std::process::id()));
        fs::create_dir_all(&dir).unwrap();
        Scratch(dir)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

#[test]
fn a_folder_holds_page_result_summary_and_figures() {
    let scratch = Scratch::new("new");
    let (result, series) = fixture::invented();
    let page = write_folder(&scratch.0.join("drive"), &result, &series).unwrap();
    assert!(page.ends_with("drive/report.html") && page.exists());
    let dir = page.parent().unwrap();
    let text = fs::read_to_string(dir.join("result.json")).unwrap();
    assert_eq!(json::read(&text).unwrap(), result);
    assert!(fs::read_to_string(dir.join("summary.txt")).unwrap().contains("center-opens"));
    for name in ["revolution-balance.svg", "revolution-balance.png", "selections-1.svg"] {
        assert!(dir.join("figures").join(name).exists(), "{name}");
    }
    assert_eq!(fs::read_dir(&scratch.0).unwrap().count(), 1, "nothing is left beside it");
}

#[test]
fn files_of_somebody_else_are_never_touched() {
    let scratch = Scratch::new("foreign");
    fs::write(scratch.0.join("report.html"), "mine").unwrap();
    let (result, series) = fixture::invented();
    let refused = write_folder(&scratch.0, &result, &series).unwrap_err();
    assert!(matches!(refused, FolderError::Foreign(_)));
    assert!(refused.to_string().contains("name a new or an empty folder"));
    assert_eq!(fs::read_to_string(scratch.0.join("report.html")).unwrap(), "mine");
    assert_eq!(fs::read_dir(&scratch.0).unwrap().count(), 1);
}

#[test]
fn an_earlier_report_is_replaced_and_what_was_put_beside_it_stays() {
    let scratch = Scratch::new("again");
    let (mut result, series) = fixture::invented();
    result.selections = vec![result.selections[0].clone(); 12];
    write_folder(&scratch.0, &result, &series).unwrap();
    fs::write(scratch.0.join("notes.txt"), "mine").unwrap();
    fs::write(scratch.0.join("figures/photo.png"), "mine").unwrap();
    assert!(scratch.0.join("figures/selections-3.png").exists());
    result.selections.truncate(1);
    write_folder(&scratch.0, &result, &series).unwrap();
    assert_eq!(fs::read_to_string(scratch.0.join("notes.txt")).unwrap(), "mine");
    assert_eq!(fs::read_to_string(scratch.0.join("figures/photo.png")).unwrap(), "mine");
    assert!(!scratch.0.join("figures/selections-3.png").exists(), "a figure of the old report");
    let text = fs::read_to_string(scratch.0.join("result.json")).unwrap();
    assert_eq!(json::read(&text).unwrap().selections.len(), 1);
}

#[test]
fn a_place_that_cannot_be_written_is_named() {
    let scratch = Scratch::new("file");
    fs::write(scratch.0.join("file"), "").unwrap();
    let (result, series) = fixture::invented();
    let refused = write_folder(&scratch.0.join("file/drive"), &result, &series).unwrap_err();
    assert!(matches!(refused, FolderError::Storage { .. }), "{refused}");
    assert!(refused.to_string().contains("file"), "{refused}");
}
