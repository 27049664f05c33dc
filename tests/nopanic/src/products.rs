//! All of the core, and products by name in flash: what the second adds to flash.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod panic;
#[cfg(target_os = "none")]
mod station;

#[cfg(target_os = "none")]
mod flash {
    use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

    /// 8 pages of 4 096 bytes with 4-byte words. What is passed in is unknown to the compiler.
    pub struct Flash {
        read: fn(u32, &mut [u8]) -> bool,
        write: fn(u32, &[u8]) -> bool,
        erase: fn(u32, u32) -> bool,
    }

    fn said(well: bool) -> Result<(), NorFlashErrorKind> {
        if well { Ok(()) } else { Err(NorFlashErrorKind::Other) }
    }

    impl ErrorType for Flash {
        type Error = NorFlashErrorKind;
    }

    impl ReadNorFlash for Flash {
        const READ_SIZE: usize = 4;

        fn read(&mut self, from: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
            said((self.read)(from, bytes))
        }

        fn capacity(&self) -> usize {
            8 * 4_096
        }
    }

    impl NorFlash for Flash {
        const WRITE_SIZE: usize = 4;
        const ERASE_SIZE: usize = 4_096;

        fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
            said((self.erase)(from, to))
        }

        fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
            said((self.write)(at, bytes))
        }
    }
}

/// Everything that can be asked, with the words of each refusal.
#[cfg(target_os = "none")]
#[unsafe(no_mangle)]
pub fn entry(
    profile: &timing_core::MachineProfile,
    products: &[timing_core::Product; 2],
    inputs: &[timing_core::Inputs],
    digest: &mut timing_core::Digest,
    station: &mut timing_core::Station,
    flash: flash::Flash,
    (names, tell): (&[&str; 2], fn(&str)),
) -> u32 {
    use firmware_example::products::{Ask, Desk, Name, Products};
    let opened = Products::<_, 0, 8>::open(flash, station.machine());
    let mut desk = match opened {
        Ok(products) => Desk::new(products),
        Err(e) => {
            tell(e.words());
            return 1;
        }
    };
    let (Ok(a), Ok(b)) = (Name::new(names[0]), Name::new(names[1])) else { return 2 };
    for i in inputs {
        desk.see(i);
        let asks = [
            Ask::Store(&a, &products[0]),
            Ask::Replace(&a, &products[1]),
            Ask::Rename(&a, &b),
            Ask::Delete(&a),
            Ask::DeleteUnreadable,
            Ask::Recall(&b),
            Ask::Confirm,
        ];
        for ask in asks {
            if let Err(refusal) = desk.ask(ask, station, i.now) {
                tell(refusal.words());
            }
        }
        for (name, standing) in desk.products().list() {
            tell(name.map_or("", Name::as_str));
            tell(standing.map_or_else(|e| e.words(), |()| ""));
        }
    }
    station::run(profile, products, inputs, digest)
}

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("This is linked for a board and never run: see tests/budget.sh.");
}
