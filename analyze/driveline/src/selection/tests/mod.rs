//! Promises about selections, over generated timelines whose truth is known.

mod arrivals;
mod kept;
mod outcomes;
mod script;
mod verdicts;
