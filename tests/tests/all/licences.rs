//! Every library may be used and passed on: its licence is one of a short list. No list of known
//! weaknesses is at hand without a network, so that is not checked here.

use crate::tree::{none, top};
use serde_json::Value;
use std::process::Command;

/// Licences (SPDX) that ask for no more than their text along with a copy; and MPL-2.0, which
/// asks that changed files of the library itself stay open: we change none.
const ALLOWED: [&str; 13] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "MIT",
    "MPL-2.0",
    "NCSA",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

/// Whether an SPDX expression leaves a way with allowed licences only. The old `/` means OR.
fn allowed(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    let one = |name: &str| ALLOWED.contains(&name.trim());
    let plain = !expression.contains('(');
    if plain {
        let all = |either: &str| either.split(" AND ").all(one);
        return expression.split(" OR ").any(all);
    }
    // Parts in brackets joined by AND: each part must leave a way by itself.
    let parts = expression.split(" AND ");
    parts.map(|p| p.trim().trim_matches(['(', ')'])).all(|p| p.split(" OR ").any(one))
}

/// Every package of the lock file. Of those for other systems than this one a build brings
/// nothing: cargo fetches them here once, for their licences are asked too.
fn packages() -> Vec<(String, String)> {
    let mut cargo = Command::new(env!("CARGO"));
    cargo.args(["metadata", "--locked", "--format-version", "1"]);
    let output = cargo.current_dir(top()).output().expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let all: Value = serde_json::from_slice(&output.stdout).expect("cargo writes JSON");
    let text = |v: &Value| v.as_str().unwrap_or("none declared").to_string();
    let package = |p: &Value| (text(&p["name"]), text(&p["license"]));
    all["packages"].as_array().expect("a list of packages").iter().map(package).collect()
}

#[test]
fn every_library_has_a_licence_that_lets_it_be_passed_on() {
    let all = packages();
    assert!(all.len() > 100, "only {} packages seen", all.len());
    let bad = all.iter().filter(|(_, licence)| !allowed(licence));
    none("libraries whose licence is not on the list", bad.map(|b| format!("{b:?}")).collect());
}

#[test]
fn the_reader_of_licences_knows_and_from_or() {
    for good in ["MIT", "MIT OR GPL-3.0", "MIT/Apache-2.0", "(MIT OR GPL-2.0) AND Unicode-3.0"] {
        assert!(allowed(good), "{good}");
    }
    for bad in ["GPL-3.0", "MIT AND GPL-3.0", "none declared", "(MIT OR Zlib) AND GPL-2.0", ""] {
        assert!(!allowed(bad), "{bad}");
    }
}
