//! All of the core, and the board's end of a link: what the second adds to flash.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod panic;
#[cfg(target_os = "none")]
mod station;

/// What is passed in is unknown to the compiler.
#[cfg(target_os = "none")]
pub struct Pipe {
    read: fn(&mut [u8]) -> usize,
    write: fn(&[u8]) -> bool,
}

#[cfg(target_os = "none")]
impl firmware_example::link::Wire for Pipe {
    fn read(&mut self, into: &mut [u8]) -> Result<usize, firmware_example::link::WireFailed> {
        Ok((self.read)(into))
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), firmware_example::link::WireFailed> {
        if (self.write)(bytes) { Ok(()) } else { Err(firmware_example::link::WireFailed) }
    }
}

#[cfg(target_os = "none")]
#[unsafe(no_mangle)]
pub fn entry(
    profile: &timing_core::MachineProfile,
    products: &[timing_core::Product; 2],
    inputs: &[timing_core::Inputs],
    digest: &mut timing_core::Digest,
    session: &mut firmware_example::link::Session,
    pipe: &mut Pipe,
) -> u32 {
    let served = firmware_example::link::serve(session, pipe, &mut ());
    u32::from(served.is_err()) + station::run(profile, products, inputs, digest)
}

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("This is linked for a board and never run: see tests/budget.sh.");
}
