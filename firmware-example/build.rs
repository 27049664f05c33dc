//! Link arguments and memory map of the board; nothing on a host.
//!
//! They stand here and not in `.cargo/config.toml`, because a member's configuration is not read from the workspace root.

use std::{env, fs, path::PathBuf};

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=memory");
    if env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "none") {
        let target = env::var("TARGET").expect("cargo sets TARGET");
        let real = env::var_os("CARGO_FEATURE_STM32F411").is_some();
        let emulated = if target.starts_with("thumbv6m") { "microbit" } else { "mps2-an386" };
        let board = if real { "stm32f411" } else { emulated };
        let out = PathBuf::from(env::var("OUT_DIR").expect("cargo sets OUT_DIR"));
        fs::copy(format!("memory/{board}.x"), out.join("memory.x")).expect("the memory map can be copied");
        println!("cargo::rustc-link-search={}", out.display());
        println!("cargo::rustc-link-arg-bins=--nmagic");
        println!("cargo::rustc-link-arg-bins=-Tlink.x");
        if env::var_os("CARGO_FEATURE_EMULATED_LOG").is_some() {
            println!("cargo::rustc-link-arg-bin=log=-Tdefmt.x");
        }
    }
}
