//! Clocks that do not agree: a computer that sleeps, a board that drifts, deliveries that are late.

mod board;
mod sleep;
mod wall;
