//! Text from outside (device names, error messages, settings) made fit for a terminal.

use std::fmt::Write;

/// The same text with every character that controls, turns or has no ink shown as `\xNN`.
///
/// A serial device can send terminal commands; nothing of the kind ever reaches the screen.
///
/// ```
/// use wheelwitness_logger::text::printable;
/// assert_eq!(printable("a\u{1b}[2J\u{202e}b"), r"a\x1b[2J\x202eb");
/// ```
pub fn printable(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_control() || changes_direction(c) || is_invisible(c) {
            // Writing to a String cannot fail.
            let _ = write!(out, "\\x{:02x}", u32::from(c));
        } else {
            out.push(c);
        }
    }
    out
}

/// Bidirectional formatting characters (Unicode Standard Annex 9, table of explicit formatting).
fn changes_direction(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{061c}')
        || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
        || matches!(c, '\u{2028}' | '\u{2029}')
}

/// Characters without ink: what they stand in reads like something else.
fn is_invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{180e}' | '\u{feff}')
        || matches!(c, '\u{200b}'..='\u{200d}' | '\u{2060}'..='\u{2064}')
}

/// A number of bytes in a unit that a reader can take in: `999 B`, `25.1 kB`, `3.2 GB`.
pub fn bytes(count: u64) -> String {
    let units = ["B", "kB", "MB", "GB", "TB", "PB", "EB"];
    let mut value = count as f64;
    let mut unit = 0;
    while value >= 999.95 && unit + 1 < units.len() {
        value /= 1000.0;
        unit += 1;
    }
    if unit == 0 { format!("{count} B") } else { format!("{value:.1} {}", units[unit]) }
}

/// A duration as `h:mm:ss`.
pub fn clock_face(ns: i64) -> String {
    let seconds = ns.max(0) / 1_000_000_000;
    format!("{}:{:02}:{:02}", seconds / 3600, seconds / 60 % 60, seconds % 60)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn no_control_character_survives(text in prop::collection::vec(any::<char>(), 0..40)) {
            // Any string of this library holds no control characters: they come by hand.
            let all = text.into_iter().chain((0..0xA0).filter_map(char::from_u32));
            let text: String = all.collect();
            prop_assert!(!printable(&text).chars().any(|c| c.is_control() || changes_direction(c)));
        }
    }

    #[test]
    fn sizes_and_times_read_naturally() {
        assert_eq!(bytes(999), "999 B");
        assert_eq!(bytes(25_100), "25.1 kB");
        assert_eq!(bytes(999_999), "1.0 MB");
        assert_eq!(clock_face(3_725_999_999_999), "1:02:05");
        assert_eq!(clock_face(-5), "0:00:00");
    }
}
