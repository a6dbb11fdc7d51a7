//! The house as a whole: its tree, its style, its arrows, its documents.
//!
//! `tree` finds the files; every other module is a list of promises about them.

mod tree;
mod tidiness;
mod adversarial;
mod arrows;
mod modules;
mod once_wrong;
mod commands;
mod documents;
mod by_hand;
mod budgets;
mod licences;
mod limits_of_use;
mod claims;
mod declared;
mod signs;
