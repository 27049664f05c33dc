//! The product area of the flash, spoilt anywhere: it is opened or refused; what is listed as usable can be recalled; every ask ends.

use super::Take;
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};
use firmware_example::products::{Name, PRODUCTS_MAX, Products};
use std::sync::OnceLock;
use timing_core::{Machine, Product, example};

const PAGE: usize = 4_096;
const PAGES: usize = 8;

type Area<'f> = Products<&'f mut Nor, 0, PAGES>;

/// Flash in memory: words of 4 bytes, whose bits only go from 1 to 0.
#[derive(Clone)]
struct Nor(Vec<u8>);

#[derive(Debug)]
struct Outside;

impl NorFlashError for Outside {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::OutOfBounds
    }
}

impl ErrorType for Nor {
    type Error = Outside;
}

impl ReadNorFlash for Nor {
    const READ_SIZE: usize = 4;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Outside> {
        let at = offset as usize;
        bytes.copy_from_slice(self.0.get(at..at + bytes.len()).ok_or(Outside)?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Nor {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Outside> {
        self.0.get_mut(from as usize..to as usize).ok_or(Outside)?.fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Outside> {
        let at = offset as usize;
        let there = self.0.get_mut(at..at + bytes.len()).ok_or(Outside)?;
        for (to, from) in there.iter_mut().zip(bytes) {
            *to &= from;
        }
        Ok(())
    }
}

fn machine() -> &'static Machine {
    static MACHINE: OnceLock<Machine> = OnceLock::new();
    MACHINE.get_or_init(|| Machine::new(&example::machine()).expect("the example is valid"))
}

fn named(n: u8) -> Name {
    Name::new(&format!("Elderflower {}", n % 8)).expect("a plain name")
}

fn product(n: u8) -> Product {
    Product { spin_rpm: 100 + u16::from(n), ..example::product() }
}

/// Areas to begin with: blank; three products; one that has gone round its pages, so that old items and a page half full lie about.
fn areas() -> &'static [Nor; 3] {
    static AREAS: OnceLock<[Nor; 3]> = OnceLock::new();
    AREAS.get_or_init(|| {
        let blank = Nor(vec![0xff; PAGE * PAGES]);
        let (mut few, mut worn) = (blank.clone(), blank.clone());
        for (flash, changes) in [(&mut few, 0_u8), (&mut worn, 240)] {
            let mut area = Area::open(flash, machine()).expect("a blank area");
            for n in 0..3 {
                area.store(&named(n), &product(n)).expect("it is empty");
            }
            for n in 0..changes {
                area.replace(&named(n % 3), &product(n)).expect("it is there");
            }
        }
        [blank, few, worn]
    })
}

/// The area to begin with, the places that are spoilt, and what is asked then.
pub fn flash(bytes: &[u8]) {
    let mut take = Take(bytes);
    let mut flash = areas()[usize::from(take.u8() % 3)].clone();
    for _ in 0..take.u8() % 32 {
        let at = usize::from(take.u16()) % (PAGE * PAGES);
        let n = usize::from(take.u8() % 64);
        for (to, from) in flash.0[at..].iter_mut().zip(take.part(n)) {
            *to = *from;
        }
    }
    for _ in 0..2 {
        let Ok(mut area) = Area::open(&mut flash, machine()) else { return };
        look(&mut area);
        for _ in 0..6 {
            if take.is_over() {
                break;
            }
            let (what, a, b) = (take.u8(), take.u8(), take.u8());
            // Whatever the flash holds, an ask ends, and what is acknowledged as stored is there.
            match what % 6 {
                0 if area.store(&named(a), &product(b)).is_ok() => kept(&mut area, a, b),
                1 if area.replace(&named(a), &product(b)).is_ok() => kept(&mut area, a, b),
                2 => drop(area.rename(&named(a), &named(b))),
                3 => drop(area.delete(&named(a))),
                4 => drop(area.delete_unreadable()),
                _ => {}
            }
        }
        look(&mut area);
    }
}

fn kept(area: &mut Area<'_>, name: u8, as_what: u8) {
    match area.read(&named(name)) {
        Ok((found, _)) => assert_eq!(found, product(as_what)),
        Err(e) => panic!("stored, and then: {}", e.words()),
    }
}

fn look(area: &mut Area<'_>) {
    let listed: Vec<(Option<Name>, bool)> = area.list().map(|(n, standing)| (n.cloned(), standing.is_ok())).collect();
    assert!(listed.len() <= PRODUCTS_MAX);
    for (name, _) in listed {
        // An older item of the same slot may come up in place of a damaged one: then it is refused, in words.
        if let Some(Err(e)) = name.map(|n| area.read(&n)) {
            assert!(!e.words().is_empty());
        }
    }
}
