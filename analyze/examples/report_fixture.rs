//! Writes two report folders of an invented drive, so that anybody can look at them: one with all
//! figures, one of a capture in which nothing was recorded.
//!
//! `cargo run -p wheelwitness-analyze --example report_fixture -- FOLDER`

#[path = "../tests/report/fixture.rs"]
mod fixture;

use std::path::PathBuf;
use wheelwitness_analyze::report;

fn main() -> Result<(), report::folder::FolderError> {
    let base = PathBuf::from(std::env::args().nth(1).unwrap_or("report-fixture".into()));
    for (name, (result, series)) in [("drive", fixture::invented()), ("empty", fixture::empty())] {
        let page = report::write_folder(&base.join(name), &result, &series)?;
        println!("{}", page.display());
    }
    Ok(())
}
