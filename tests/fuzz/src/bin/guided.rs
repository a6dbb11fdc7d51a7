//! The engine: libFuzzer with one target, which the environment names.
//!
//! ```sh
//! WHEELWITNESS_FUZZ_TARGET=wire guided -max_total_time=60 FOLDER
//! ```
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::sync::OnceLock;
use wheelwitness_fuzz::targets::find;

static FEED: OnceLock<fn(&[u8])> = OnceLock::new();

fuzz_target!(|bytes: &[u8]| {
    let feed = FEED.get_or_init(|| {
        let name = std::env::var("WHEELWITNESS_FUZZ_TARGET").unwrap_or_default();
        find(&name).unwrap_or_else(|| panic!("there is no target {name:?}")).feed
    });
    feed(bytes);
});
