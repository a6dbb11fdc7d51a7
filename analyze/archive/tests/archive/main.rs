//! What the archive promises, tried with captures of the real format and an invented judge.

mod bench;
mod change;
mod hostile;
mod keep;
mod manifests;
mod pack;
mod thin;
mod verify;
