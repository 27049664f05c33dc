//! The tick alone: what runs for ever on the machine.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod panic;

/// What is passed in is unknown to the compiler, so nothing can be computed beforehand.
#[cfg(target_os = "none")]
#[unsafe(no_mangle)]
pub fn entry(station: &mut timing_core::Station, inputs: &timing_core::Inputs, orders: &mut timing_core::Orders) {
    *orders = station.tick(inputs).orders;
    #[cfg(feature = "planted")]
    planted::divide_and_index(inputs, orders);
}

/// What the script must see when it is asked to look at it.
#[cfg(all(target_os = "none", feature = "planted"))]
mod planted {
    pub(crate) fn divide_and_index(inputs: &timing_core::Inputs, orders: &mut timing_core::Orders) {
        let divisor = inputs.contacts.bits() as u64 | 1 << 40;
        let quotient = inputs.now.as_micros() / divisor;
        let table = [1_u16, 2, 3];
        *orders = timing_core::Orders::from_bits(table[quotient as usize]);
    }
}

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("This is linked for a board and never run: see tests/no_panic.sh.");
}
