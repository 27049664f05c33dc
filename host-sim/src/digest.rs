//! The fingerprint of a run as people and programs read it.
//!
//! The hash itself lives in the core, so that a board computes the same one: see [`timing_core::Digest`].

pub use timing_core::Digest;

/// A fingerprint as 16 lower-case hexadecimal digits.
#[must_use]
pub fn hex(value: u64) -> String {
    format!("{value:016x}")
}

#[cfg(test)]
mod tests {
    /// The offset basis of FNV-1a 64 is what its authors (Fowler, Noll, Vo) publish for the empty text.
    #[test]
    fn leading_zeros_stay() {
        assert_eq!(super::hex(super::Digest::new().digest()), "cbf29ce484222325");
        assert_eq!(super::hex(0x0a), "000000000000000a");
    }
}
