//! The command `capcycle`.
fn main() {}
