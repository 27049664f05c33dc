//! Shows on an emulated board how a station's log reads: first what a real one says in a few seconds, then each kind of line once.
//!
//! Its bytes are formatted on the host, with the texts that the program's file holds; `tests/log.sh` does that and compares.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("this is a program for an emulated board: see tests/log.sh");
}
