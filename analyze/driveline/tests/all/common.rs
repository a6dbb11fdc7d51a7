//! Reading the reference values under `fixtures/reference`, each of which names its source.

use serde::de::DeserializeOwned;
use std::path::PathBuf;

/// The contents of a reference file.
pub fn reference<T: DeserializeOwned>(name: &str) -> T {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/reference");
    let text = std::fs::read_to_string(folder.join(name)).expect("a file of this repository");
    toml::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Holds a computed value against a published one, within half a unit of its last printed digit
/// or whatever its source allows.
pub fn close(computed: f64, published: f64, tolerance: f64, source: &str) {
    let off = (computed - published).abs();
    assert!(off <= tolerance, "{computed} against {published} +- {tolerance}: {source}");
}
