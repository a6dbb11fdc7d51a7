//! The program `wheelwitness`.

fn main() {}
