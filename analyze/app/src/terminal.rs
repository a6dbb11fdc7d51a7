//! Words to the terminal: the one door for all text of this program but the recorder's screen.
//!
//! Text may come from anywhere (names in a capture, a vehicle file, a manifest of a stranger, the
//! name of a file), and a terminal obeys what it is sent. So nothing but line ends goes through
//! as control: everything else is shown as `\xNN`. A reader that goes away (`| head`) is no
//! failure of ours.

use std::io::Write;
use wheelwitness_analyze::report::words::visible;

/// Prints a result.
pub fn say(text: &str) {
    let _ = std::io::stdout().write_all(plain(text).as_bytes());
}

/// Prints a result in which our own report has painted verdicts.
pub fn say_painted(text: &str) {
    let _ = std::io::stdout().write_all(painted(text).as_bytes());
}

/// Prints a complaint, one line and what to do next, to standard error.
pub fn complain(text: &str) {
    let mut err = std::io::stderr();
    let _ = err.write_all(plain(text).as_bytes()).and_then(|()| err.write_all(b"\n"));
}

/// The text with line ends as the only control characters.
fn plain(text: &str) -> String {
    text.split('\n').map(visible).collect::<Vec<_>>().join("\n")
}

/// What our report paints with.
const PAINTS: [&str; 4] = ["[0m", "[1m", "[1;33m", "[1;36m"];

/// The same, with our own paints left in.
fn painted(text: &str) -> String {
    let mut pieces = text.split('\x1b');
    let mut out = plain(pieces.next().unwrap_or_default());
    for piece in pieces {
        match PAINTS.iter().find(|p| piece.starts_with(**p)) {
            Some(paint) => out += &format!("\x1b{paint}{}", plain(&piece[paint.len()..])),
            None => out += &plain(&format!("\x1b{piece}")),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_line_ends_and_our_own_paints_go_through() {
        let hostile = "a\x1b]0;title\x07\nb\x1b[2J\u{9b}31m\u{202e}c\rd";
        let shown = "a\\x1B]0;title\\x07\nb\\x1B[2J\\x9B31m\\u{202E}c\\x0Dd";
        assert_eq!(plain(hostile), shown);
        assert_eq!(painted(hostile), shown);
        assert_eq!(painted("\x1b[1;36mproven\x1b[0m"), "\x1b[1;36mproven\x1b[0m");
    }
}
