//! NOR flash in memory whose power can be cut at any step, and which is stricter than a real one.
//!
//! A step is one word written or one page erased. A word is written once between erasures, unless a cut tore it; bits only
//! go from 1 to 0. What is not aligned, or outside, panics.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};

/// What the step during which power goes leaves behind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tear {
    /// Nothing of it was done.
    Before,
    /// The first half of the word's bytes, or of the page.
    First,
    /// The last half.
    Last,
    /// Of a page, both ends and not the middle; of a word, its outer bytes.
    Ends,
    /// Each bit, or each word of the page, at random.
    Bits(u64),
    /// All of it was done, and never told.
    After,
}

impl Tear {
    pub(crate) const ALL: [Self; 7] =
        [Self::Before, Self::First, Self::Last, Self::Ends, Self::Bits(1), Self::Bits(0x5eed), Self::After];
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct PowerLost;

impl NorFlashError for PowerLost {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

/// `WORD` bytes a word, `PAGE` bytes an erase unit, `PAGES` of them.
#[derive(Clone, Debug)]
pub(crate) struct Nor<const WORD: usize, const PAGE: usize, const PAGES: usize> {
    pub(crate) bytes: Vec<u8>,
    pub(crate) erased: [u32; PAGES],
    pub(crate) steps: u64,
    cut: Option<(u64, Tear)>,
    dead: bool,
    torn: Vec<usize>,
}

impl<const WORD: usize, const PAGE: usize, const PAGES: usize> Nor<WORD, PAGE, PAGES> {
    pub(crate) fn new() -> Self {
        Self { bytes: vec![0xff; PAGE * PAGES], erased: [0; PAGES], steps: 0, cut: None, dead: false, torn: Vec::new() }
    }

    /// Power goes at the step after `steps` more.
    pub(crate) fn cut_after(&mut self, steps: u64, tear: Tear) {
        self.cut = Some((self.steps + steps, tear));
    }

    /// Power comes back; whether it had gone.
    pub(crate) fn power_up(&mut self) -> bool {
        self.cut = None;
        std::mem::take(&mut self.dead)
    }

    fn step(&mut self) -> Result<Option<Tear>, PowerLost> {
        if self.dead {
            return Err(PowerLost);
        }
        let tear = self.cut.and_then(|(at, tear)| (at == self.steps).then_some(tear));
        self.steps += 1;
        self.dead = tear.is_some();
        Ok(tear)
    }
}

fn mix(seed: u64, n: usize) -> u64 {
    let mut x = seed ^ (n as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    for _ in 0..3 {
        x ^= x >> 32;
        x = x.wrapping_mul(0xd6e8_feb8_6659_fd93);
    }
    x ^ (x >> 32)
}

impl<const WORD: usize, const PAGE: usize, const PAGES: usize> ErrorType for Nor<WORD, PAGE, PAGES> {
    type Error = PowerLost;
}

impl<const WORD: usize, const PAGE: usize, const PAGES: usize> ReadNorFlash for Nor<WORD, PAGE, PAGES> {
    const READ_SIZE: usize = WORD;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), PowerLost> {
        let at = offset as usize;
        assert!(at.is_multiple_of(WORD) && bytes.len().is_multiple_of(WORD), "read of {} at {at}", bytes.len());
        if self.dead {
            return Err(PowerLost);
        }
        bytes.copy_from_slice(&self.bytes[at..at + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        PAGE * PAGES
    }
}

impl<const WORD: usize, const PAGE: usize, const PAGES: usize> NorFlash for Nor<WORD, PAGE, PAGES> {
    const WRITE_SIZE: usize = WORD;
    const ERASE_SIZE: usize = PAGE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), PowerLost> {
        let (from, to) = (from as usize, to as usize);
        assert!(from.is_multiple_of(PAGE) && to.is_multiple_of(PAGE) && from < to, "erase {from}..{to}");
        for page in (from..to).step_by(PAGE) {
            let tear = self.step()?;
            self.erased[page / PAGE] += 1;
            let words = PAGE / WORD;
            for n in 0..words {
                let done = match tear {
                    None | Some(Tear::After) => true,
                    Some(Tear::Before) => false,
                    Some(Tear::First) => n < words / 2,
                    Some(Tear::Last) => n >= words / 2,
                    Some(Tear::Ends) => n < words / 4 || n >= words - words / 4,
                    Some(Tear::Bits(seed)) => mix(seed ^ self.steps, n) & 1 == 1,
                };
                if done {
                    let at = page + n * WORD;
                    self.bytes[at..at + WORD].fill(0xff);
                    self.torn.retain(|&t| t != at);
                }
            }
            if tear.is_some() {
                return Err(PowerLost);
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), PowerLost> {
        let from = offset as usize;
        assert!(from.is_multiple_of(WORD) && bytes.len().is_multiple_of(WORD), "write of {} at {from}", bytes.len());
        for (n, word) in bytes.chunks(WORD).enumerate() {
            let at = from + n * WORD;
            let tear = self.step()?;
            let blank = self.bytes[at..at + WORD].iter().all(|b| *b == 0xff);
            assert!(blank || self.torn.contains(&at), "the word at {at} was written already");
            for (i, &new) in word.iter().enumerate() {
                let mask = match tear {
                    None | Some(Tear::After) => 0xff,
                    Some(Tear::Before) => 0,
                    Some(Tear::First) => {
                        if i < WORD / 2 {
                            0xff
                        } else {
                            0
                        }
                    }
                    Some(Tear::Last) => {
                        if i < WORD / 2 {
                            0
                        } else {
                            0xff
                        }
                    }
                    Some(Tear::Ends) => {
                        if i == 0 || i == WORD - 1 {
                            0xff
                        } else {
                            0
                        }
                    }
                    Some(Tear::Bits(seed)) => mix(seed ^ self.steps, i).to_le_bytes()[0],
                };
                // Programming clears the bits that the new word has clear, as far as it came.
                self.bytes[at + i] &= new | !mask;
            }
            if tear.is_some() {
                self.torn.push(at);
                return Err(PowerLost);
            }
        }
        Ok(())
    }
}
