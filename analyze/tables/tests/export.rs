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

/// Cells of a CSV text (RFC 4180): quotes, doubled quotes, line ends inside of quotes.
fn cells(text: &str) -> Vec<Vec<String>> {
    let (mut rows, mut row, mut cell) = (Vec::new(), Vec::new(), String::new());
    let (mut quoted, mut chars) = (false, text.chars().peekable());
    while let Some(c) = chars.next() {
        match (c, quoted) {
            ('"', true) if chars.peek() == Some(&'"') => cell.extend(chars.next()),
            ('"', _) => quoted = !quoted,
            (',', false) => row.push(std::mem::take(&mut cell)),
            ('\n', false) => {
                row.push(std::mem::take(&mut cell));
                rows.push(std::mem::take(&mut row));
            }
            (c, _) => cell.push(c),
        }
    }
    assert!(row.is_empty() && cell.is_empty(), "ends with a line end");
    rows
}

/// Formulas in the manner of the OWASP page "CSV Injection" (from memory).
const FORMULAS: [&str; 12] = [
    "=1+1",
    "=cmd|' /C calc'!A0",
    "+1+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    "=HYPERLINK(\"x\",\"y\")",
    "＝1+1",
    "＠SUM(1)",
    "\",=1+1,\"",
];

#[test]
fn no_text_of_a_result_becomes_an_active_cell_and_numbers_keep_every_bit() {
    let (sound, series) = fixture::invented();
    for formula in FORMULAS {
        let mut result = sound.clone();
        result.modes.iter_mut().for_each(|m| m.mode = Some(formula.into()));
        for c in &mut result.claims {
            (c.id, c.scope, c.reason_code) = (formula.into(), formula.into(), formula.into());
            c.limit.iter_mut().for_each(|l| l.quantity = formula.into());
            for e in c.periods.iter_mut().flat_map(|p| &mut p.estimates) {
                (e.name, e.unit) = (formula.into(), formula.into());
                e.value = e.value.map(|v| -v / 3.0);
            }
        }
        let scratch = Scratch::new("formula");
        export(&scratch.0, &result, &series, Format::Csv).unwrap();
        let numbers = |name: &str, row: &[String], head: &[String]| -> Option<f64> {
            row[head.iter().position(|h| h == name).unwrap()].parse().ok()
        };
        let mut values = Vec::new();
        for table in ["claims.csv", "steps.csv"] {
            let rows = cells(&fs::read_to_string(scratch.0.join(table)).unwrap());
            for row in &rows[1..] {
                assert_eq!(row.len(), rows[0].len(), "{formula:?}");
                for cell in row {
                    let active = cell.starts_with(['=', '+', '@', '\t', '\r', '\n', '＝', '＠']);
                    let minus = cell.starts_with('-') && cell.parse::<f64>().is_err();
                    assert!(!active && !minus, "{formula:?}: {cell:?}");
                }
                if table == "claims.csv" {
                    values.push(numbers("value", row, &rows[0]));
                }
            }
        }
        let estimates = result.claims.iter().flat_map(|c| &c.periods).flat_map(|p| &p.estimates);
        let expected: Vec<u64> = estimates.filter_map(|e| Some(e.value?.to_bits())).collect();
        let found: Vec<u64> = values.into_iter().flatten().map(f64::to_bits).collect();
        assert_eq!(found, expected, "{formula:?}");
    }
}
