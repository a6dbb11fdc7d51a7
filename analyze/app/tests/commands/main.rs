//! Commands through the program's own front door: what they write, say and end with.

mod can_exchange;
mod reckon;
mod rig;
mod scratch;
mod signature;
mod vehicle;
