//! Every public way into the core: profile and product to a station, a tick, a new product.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod panic;
#[cfg(target_os = "none")]
mod station;

/// What is passed in is unknown to the compiler, so nothing can be computed beforehand.
#[cfg(target_os = "none")]
#[unsafe(no_mangle)]
pub fn entry(
    profile: &timing_core::MachineProfile,
    products: &[timing_core::Product; 2],
    inputs: &[timing_core::Inputs],
    digest: &mut timing_core::Digest,
) -> u32 {
    station::run(profile, products, inputs, digest)
}

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("This is linked for a board and never run: see tests/no_panic.sh.");
}
