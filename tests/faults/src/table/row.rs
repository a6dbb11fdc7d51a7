//! How a row is written down.

use super::{Row, Test, Trial};

/// A row that tests hold.
pub(super) const fn row(
    number: u8,
    fault: &'static str,
    promise: &'static str,
    figure: &'static str,
    tests: &'static [Test],
) -> Row {
    Row { number, fault, promise, figure, tests, trial: None, open: "" }
}

impl Row {
    pub(super) const fn tried(mut self, trial: Trial) -> Row {
        self.trial = Some(trial);
        self
    }

    pub(super) const fn open(mut self, open: &'static str) -> Row {
        self.open = open;
        self
    }
}
