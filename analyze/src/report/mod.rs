//! The report of one drive: terminal summary, JSON, figures and one self-contained page.
//!
//! Everything here is printed from a [`DriveResult`](crate::result::DriveResult) and, for the
//! figures, its [`Series`](crate::series::Series). Nothing is computed that could change a
//! verdict, nothing asks the clock, and the same input gives the same bytes.
//!
//! ```
//! # fn show(result: &wheelwitness_analyze::result::DriveResult) {
//! print!("{}", wheelwitness_analyze::report::terminal(result, 80, false));
//! # }
//! ```

pub mod words;

pub mod cautions;
pub mod json;
pub mod terminal;

pub mod plots;

pub mod markup;
pub mod page;

pub mod folder;

pub use folder::write_folder;
pub use page::page;
pub use terminal::terminal;
