//! Tables hold what the result holds, name their source, and hurt no spreadsheet.

#[path = "../../tests/report/fixture.rs"]
mod fixture;

use polars_core::prelude::DataFrame;
use polars_io::prelude::{ParquetReader, SerReader};
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};
use wheelwitness_tables::{Format, TablesError, export};

/// A folder that goes away with the test.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        Scratch(std::env::temp_dir().join(format!("tables-{name}-{}", std::process::id())))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn read(path: &Path) -> DataFrame {
    ParquetReader::new(fs::File::open(path).unwrap()).finish().unwrap()
}

#[test]
fn parquet_holds_every_step_and_a_gap_is_null() {
    let (result, series) = fixture::invented();
    let scratch = Scratch::new("parquet");
    let exported = export(&scratch.0, &result, &series, Format::Parquet).unwrap();
    assert_eq!(exported[0].rows, series.time_s.len());
    let steps = read(&scratch.0.join("steps.parquet"));
    let column = |name: &str| -> Vec<Option<f64>> {
        steps.column(name).unwrap().f64().unwrap().iter().collect()
    };
    assert_eq!(column("front_rpm"), series.front_rpm);
    assert_eq!(column("counted_turn"), series.counted_turn);
    assert_eq!(column("front_rpm").iter().filter(|v| v.is_none()).count(), 16);
}

#[test]
fn claims_have_a_row_for_each_estimate_and_one_where_nothing_was_exercised() {
    let (result, series) = fixture::invented();
    let scratch = Scratch::new("claims");
    export(&scratch.0, &result, &series, Format::Parquet).unwrap();
    let claims = read(&scratch.0.join("claims.parquet"));
    let periods = result.claims.iter().flat_map(|c| &c.periods);
    let expected: usize = periods.map(|p| p.estimates.len().max(1)).sum();
    assert_eq!(claims.height(), expected);
    let (empty, nothing) = fixture::empty();
    let scratch = Scratch::new("empty");
    let exported = export(&scratch.0, &empty, &nothing, Format::Parquet).unwrap();
    assert_eq!((exported[0].rows, exported[1].rows), (0, empty.claims.len()));
}

#[test]
fn csv_text_that_looks_like_a_formula_is_quoted_and_negative_numbers_are_unchanged() {
    let (mut result, series) = fixture::invented();
    let scratch = Scratch::new("csv");
    for (claim, start) in result.claims.iter_mut().zip(["=", "+", "-", "@", "\t", "\r"]) {
        claim.scope = format!("{start}cmd");
    }
    export(&scratch.0, &result, &series, Format::Csv).unwrap();
    let text = fs::read_to_string(scratch.0.join("claims.csv")).unwrap();
    for start in ["=", "+", "-", "@", "\t", "\r"] {
        assert!(text.contains(&format!("'{start}cmd")), "{start:?}\n{text}");
        assert!(!text.contains(&format!(",{start}cmd")), "{start:?}\n{text}");
    }
    assert!(text.contains(",-9.975,9.975,"), "{text}");
    let header = text.lines().next().unwrap();
    assert!(header.starts_with("claim_number,claim,scope,verdict,reason_code,"), "{header}");
}

#[test]
fn each_table_names_its_capture_and_its_own_hash() {
    let (result, series) = fixture::invented();
    let scratch = Scratch::new("source");
    for format in [Format::Csv, Format::Parquet] {
        for table in export(&scratch.0, &result, &series, format).unwrap() {
            let beside = format!("{}.source.json", table.path.display());
            let source: serde_json::Value =
                serde_json::from_str(&fs::read_to_string(beside).unwrap()).unwrap();
            assert_eq!(source["capture_sha256"], result.capture.sha256.as_str());
            assert_eq!(source["rows"], table.rows);
            let digest = Sha256::digest(fs::read(&table.path).unwrap());
            let hex: String = digest.iter().map(|b| format!("{b:02x}")).collect();
            assert_eq!(source["sha256"], hex.as_str());
        }
    }
}

#[test]
fn an_existing_file_is_never_overwritten() {
    let (result, series) = fixture::invented();
    let scratch = Scratch::new("existing");
    fs::create_dir_all(&scratch.0).unwrap();
    fs::write(scratch.0.join("claims.csv"), "mine").unwrap();
    let refused = export(&scratch.0, &result, &series, Format::Csv).unwrap_err();
    assert!(matches!(refused, TablesError::Storage { .. }));
    assert!(refused.to_string().contains("claims.csv"));
    assert_eq!(fs::read_to_string(scratch.0.join("claims.csv")).unwrap(), "mine");
}
