//! Only on a board: start at `entry`, and keep nothing that `entry` does not reach.

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    if std::env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "none") {
        for arg in ["--entry=entry", "--gc-sections", "--error-limit=0"] {
            println!("cargo::rustc-link-arg-bins={arg}");
        }
        if std::env::var_os("CARGO_FEATURE_LET_THROUGH").is_some() {
            println!("cargo::rustc-link-arg-bins=--defsym=a_panic_can_be_reached=0");
        }
    }
}
