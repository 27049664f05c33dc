//! Counts the instructions of each tick over recorded inputs, and the stack that a tick takes.
//!
//! On an emulated board whose clock goes by instructions; on a real board or a host it counts nothing. `tests/budget.sh` runs
//! it and keeps the figures. The file holds any number of recordings, one after another; for each, one line:
//!
//! `ticks`, `sum` of instructions over all ticks, `most` in one and `at` which; `decided`: ticks that went through all stages,
//! and the `decided_sum` of their instructions; `quiet` and `quiet_sum`: after each tick the same inputs are given once more,
//! without the request. Nothing is due then, so nothing may change, and this is a quiet tick.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
#[path = "../emulated/board.rs"]
mod board;
#[cfg(target_os = "none")]
mod count;

#[cfg(target_os = "none")]
use count::replay;

#[cfg(not(target_os = "none"))]
fn main() -> std::process::ExitCode {
    eprintln!("This counts instructions on an emulated board: see tests/budget.sh.");
    std::process::ExitCode::from(2)
}
