//! Promises of the report: what is printed, that nothing from outside becomes markup, and that
//! the frozen formats stay as `SCHEMAS.md` says.

mod fixture;

mod figures;
mod folder;
mod hostile;
mod page;
mod result_json;
mod terminal;
