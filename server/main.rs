//! Rungbook: the program that wires the rooms together.

fn main() {}
