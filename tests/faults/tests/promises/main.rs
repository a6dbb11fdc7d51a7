//! The fault table is what it says it is, and short trials with a protection taken away fail.

mod protections;
mod recorders;
mod table;
