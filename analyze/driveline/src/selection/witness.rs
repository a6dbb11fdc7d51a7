//! What the shafts showed, as a witness beside the switches.

use super::table::{Row, Table};
use crate::vehicle::Coupling;

/// What the shafts (or the wheels) showed in one stretch of the drive.
#[derive(Debug, Clone, PartialEq)]
pub struct CouplingSeen {
    /// Beginning of the stretch, in seconds.
    pub start_s: f64,
    /// End of the stretch, in seconds.
    pub end_s: f64,
    /// Couplings that fit what was seen; one alone is a confirmation. Equal counts without a
    /// demanded difference fit everything: give nothing then.
    pub possible: Vec<Coupling>,
    /// Range that was seen (input against outputs).
    pub range: Option<String>,
    /// First and last raw record of it.
    pub records: (u64, u64),
}

/// What the shafts say about one row in one stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shafts {
    /// They show everything that the selection had to change, and it is as the row says.
    Confirm,
    /// They show something else.
    Deny,
    /// They show too little, or nothing.
    Silent,
}

impl CouplingSeen {
    fn is_inside(&self, stretch: (f64, f64)) -> bool {
        self.start_s >= stretch.0 && self.end_s <= stretch.1 && self.end_s > self.start_s
    }

    fn says(&self, row: &Row, range_matters: bool) -> Shafts {
        let range_fits = self.range.as_ref().map(|r| *r == row.range);
        if !self.possible.contains(&row.coupling) || range_fits == Some(false) {
            Shafts::Deny
        } else if self.possible == [row.coupling] && (range_fits == Some(true) || !range_matters) {
            Shafts::Confirm
        } else {
            Shafts::Silent
        }
    }
}

/// What all that was seen inside a stretch says about a row that was selected from `from`.
/// One denial outweighs every confirmation.
pub(super) fn shafts(
    seen: &[CouplingSeen],
    table: &Table,
    row: usize,
    from: Option<usize>,
    stretch: (f64, f64),
) -> Shafts {
    let row = &table.rows[row];
    let range_matters =
        table.several_ranges && from.is_none_or(|k| table.rows[k].range != row.range);
    let mut said = Shafts::Silent;
    for s in seen.iter().filter(|s| s.is_inside(stretch) && !s.possible.is_empty()) {
        match s.says(row, range_matters) {
            Shafts::Deny => return Shafts::Deny,
            Shafts::Confirm => said = Shafts::Confirm,
            Shafts::Silent => {}
        }
    }
    said
}

/// The first stretch that confirms a row inside a stretch.
pub(super) fn first_confirmation<'a>(
    seen: &'a [CouplingSeen],
    table: &Table,
    row: usize,
    from: Option<usize>,
    stretch: (f64, f64),
) -> Option<&'a CouplingSeen> {
    let confirms = |s: &&CouplingSeen| {
        shafts(std::slice::from_ref(s), table, row, from, stretch) == Shafts::Confirm
    };
    seen.iter().find(confirms)
}
