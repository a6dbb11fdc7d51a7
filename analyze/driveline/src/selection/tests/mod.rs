//! Promises about selections, over generated timelines whose truth is known.

mod arrivals;
mod claims;
mod kept;
mod leads;
mod outcomes;
mod requests;
mod script;
mod stands;
mod tables;
mod taps;
mod verdicts;
