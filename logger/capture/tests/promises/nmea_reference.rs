//! GNSS sentences read as a general-purpose reference library reads them.
//!
//! Source: `pynmea2` (PyPI), on every sentence that its source package and that of `pynmeagps`
//! carry in logs, tests and examples. See `tests/nmea_agreement.py`.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The exit code of the script when there is no reference here.
const NO_REFERENCE: i32 = 3;

/// The example `decode_nmea`, which is built together with the tests.
fn decoder() -> PathBuf {
    let test = std::env::current_exe().unwrap();
    let profile = test.ancestors().nth(2).unwrap();
    profile.join("examples").join("decode_nmea")
}

#[test]
fn sentences_of_recorded_logs_read_as_by_the_reference_library() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/nmea_agreement.py");
    let done = Command::new("python3").arg(script).arg("--decoder").arg(decoder()).output();
    let must_run = std::env::var_os("CI").is_some();
    let (code, said) = match done {
        Ok(done) => {
            let text = [done.stdout, done.stderr].concat();
            (done.status.code(), String::from_utf8_lossy(&text).into_owned())
        }
        Err(error) => (Some(NO_REFERENCE), format!("left out: python3: {error}")),
    };
    if code == Some(NO_REFERENCE) && !must_run {
        eprintln!("agreement with a reference library {}", said.trim());
        return;
    }
    assert_eq!(code, Some(0), "{said}");
}
