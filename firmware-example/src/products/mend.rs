//! What a power cut leaves in the area, brought into a state that the map is safe with.
//!
//! The map expects an erasure that is cut off to have cleared a page from its start. Flash promises no such order, and the
//! map's own repair would then throw away the good copies and keep the half-erased page. So before it sees the area:
//!
//! - a page whose start mark is gone, but which is not blank, was being erased: it is erased again;
//! - while a page is moved to make room, its target is the page before it. If every product that is still legible in the
//!   source is also found elsewhere, the move was complete and the erasure may have begun: the source is erased. If not, the
//!   erasure had not begun, the source is whole, and the map's repair (move it once more) is right.

use super::flash::AtOnce;
use super::{BUFFER, Geometry, StoreError, WORD_MAX};
use core::ops::Range;
use embassy_futures::block_on;
use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};
use sequential_storage::cache::Cache;
use sequential_storage::map::{MapConfig, MapStorage};

/// Which marks of a page are written: start and end.
type Marks = (bool, bool);

/// Mends the area, at each power-up; changes nothing where nothing was cut off.
pub(super) fn mend<F: NorFlash>(flash: &mut F, from: u32, g: Geometry) -> Result<(), StoreError<F::Error>> {
    let page = u32::try_from(g.page).map_err(|_| StoreError::Area)?;
    let pages = u32::try_from(g.pages).map_err(|_| StoreError::Area)?;
    let area = from..from + page * pages;
    let at = |n: u32| from + (n % pages) * page;
    for n in 0..pages {
        let (start, _) = marks(flash, at(n), page).map_err(StoreError::Flash)?;
        if !start && !is_blank(flash, at(n), g).map_err(StoreError::Flash)? {
            flash.erase(at(n), at(n) + page).map_err(StoreError::Flash)?;
        }
    }
    for n in 0..pages {
        let target = marks(flash, at(n), page).map_err(StoreError::Flash)?;
        let source = marks(flash, at(n + 1), page).map_err(StoreError::Flash)?;
        // A source that was erased from its end looks like a target, and the page after it like its source.
        let before = marks(flash, at(n + pages - 1), page).map_err(StoreError::Flash)?;
        if target == (true, false) && before != (true, false) && source.0 {
            let all = slots(flash, &area, None)?;
            let elsewhere = slots(flash, &area, Some(at(n + 1)))?;
            if all & !elsewhere == 0 {
                flash.erase(at(n + 1), at(n + 1) + page).map_err(StoreError::Flash)?;
            }
            break;
        }
    }
    Ok(())
}

/// By the map's own measure: four zero bits in what is read at once.
fn marks<F: ReadNorFlash>(flash: &mut F, page: u32, len: u32) -> Result<Marks, F::Error> {
    let mut buffer = [0; WORD_MAX];
    let mut marked = |at: u32| {
        let mark = buffer.get_mut(..F::READ_SIZE).unwrap_or_default();
        flash.read(at, mark)?;
        Ok(mark.iter().map(|b| b.count_zeros()).sum::<u32>() >= 4)
    };
    Ok((marked(page)?, marked(page + len - F::READ_SIZE as u32)?))
}

fn is_blank<F: ReadNorFlash>(flash: &mut F, page: u32, g: Geometry) -> Result<bool, F::Error> {
    let mut buffer = [0; WORD_MAX];
    for at in (0..g.page).step_by(g.word) {
        let word = buffer.get_mut(..g.word).unwrap_or_default();
        flash.read(page + at as u32, word)?;
        if word.iter().any(|b| *b != 0xff) {
            return Ok(false);
        }
    }
    Ok(true)
}

/// The slots that have a legible item, one bit each; as if one page were blank.
fn slots<F: NorFlash>(flash: &mut F, area: &Range<u32>, hidden: Option<u32>) -> Result<u64, StoreError<F::Error>> {
    let config = MapConfig::try_new(area.clone()).map_err(|_| StoreError::Area)?;
    let look = Look { flash, hidden };
    let mut map = MapStorage::<u8, AtOnce<Look<'_, F>>, _>::new(AtOnce(look), config, Cache::new_uncached());
    let mut buffer = [0; BUFFER];
    let mut found = 0;
    let mut items = block_on(map.fetch_all_items(&mut buffer)).map_err(said)?;
    while let Some((key, _)) = block_on(items.next::<&[u8]>(&mut buffer)).map_err(said)? {
        found |= 1u64.checked_shl(u32::from(key)).unwrap_or(0);
    }
    Ok(found)
}

fn said<E>(e: sequential_storage::Error<LookError<E>>) -> StoreError<E> {
    match e {
        sequential_storage::Error::Storage { value: LookError::Flash(e), .. } => StoreError::Flash(e),
        _ => StoreError::Area,
    }
}

/// Flash to be looked at only, with one page shown as blank.
struct Look<'f, F> {
    flash: &'f mut F,
    hidden: Option<u32>,
}

#[derive(Debug)]
enum LookError<E> {
    Flash(E),
    ReadOnly,
}

impl<E: NorFlashError> NorFlashError for LookError<E> {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Flash(e) => e.kind(),
            Self::ReadOnly => NorFlashErrorKind::Other,
        }
    }
}

impl<F: ErrorType> ErrorType for Look<'_, F> {
    type Error = LookError<F::Error>;
}

impl<F: NorFlash> ReadNorFlash for Look<'_, F> {
    const READ_SIZE: usize = F::READ_SIZE;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        if self.hidden.is_some_and(|page| offset >= page && offset - page < F::ERASE_SIZE as u32) {
            bytes.fill(0xff);
            return Ok(());
        }
        self.flash.read(offset, bytes).map_err(LookError::Flash)
    }

    fn capacity(&self) -> usize {
        self.flash.capacity()
    }
}

impl<F: NorFlash> NorFlash for Look<'_, F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    fn erase(&mut self, _: u32, _: u32) -> Result<(), Self::Error> {
        Err(LookError::ReadOnly)
    }

    fn write(&mut self, _: u32, _: &[u8]) -> Result<(), Self::Error> {
        Err(LookError::ReadOnly)
    }
}
