//! Tests that cross crates, and the truth campaign.

pub mod stress;
pub mod hands;
pub mod by_bus;
pub mod campaign;
pub mod tables;
pub mod by_hand;
pub mod store;
