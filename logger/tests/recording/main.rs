//! What the logger promises, tried on simulated lines and media and with the real program on real
//! pseudo-terminals and CAN interfaces.

mod buses;
mod full;
mod harness;
mod lines;
mod media;
mod terminals;

#[cfg(target_os = "linux")]
mod vcan;
