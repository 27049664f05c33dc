//! The command `capcycle`.
use std::io::{stderr, stdout};
fn main() -> std::process::ExitCode {
    host_sim::cli::run(std::env::args_os(), &mut stdout(), &mut stderr()).into()
}
