//! Words to the terminal. A reader that goes away (`| head`) is no failure of ours.

use std::io::Write;

/// Prints a result.
pub fn say(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}

/// Prints a complaint, one line and what to do next, to standard error.
pub fn complain(text: &str) {
    let mut err = std::io::stderr();
    let _ = err.write_all(text.as_bytes()).and_then(|()| err.write_all(b"\n"));
}
