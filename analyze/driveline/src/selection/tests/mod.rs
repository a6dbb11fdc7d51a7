//! Promises about selections, over generated timelines whose truth is known.

mod outcomes;
mod script;
mod verdicts;
