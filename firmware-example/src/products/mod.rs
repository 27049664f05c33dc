//! Products by name in flash: store, replace, recall, rename, delete, list; and what a power cut leaves of them.
//!
//! A product is one item of a map (`sequential-storage`), its key one of [`PRODUCTS_MAX`] slots. Each change is one item
//! appended, so it is done whole or not at all: a rename writes the same slot under its new name, a deletion writes an empty
//! item into it. Every item is read back before it is acknowledged.
//!
//! Writing and erasing flash keeps the processor for milliseconds, so all of it is for a station at rest: go through
//! [`Desk`], which sees to that.
//!
//! Flash that cannot do: word sizes below 4 bytes. A header torn there can be completed by the next item's to one that
//! hides it (issue 136 of `sequential-storage`). They do not compile, as areas too small for all products do not.

mod desk;
mod flash;
mod mend;
mod name;
#[cfg(doctest)]
mod proofs;
pub mod record;

pub use desk::{Answer, Ask, CONFIRM_WITHIN, Desk, Refusal};
pub use name::{NAME_MAX, Name, NameError};
pub use record::RecordError;

use embassy_futures::block_on;
use embedded_storage::nor_flash::NorFlash;
use flash::AtOnce;
use record::RECORD_MAX;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::map::{MapConfig, MapStorage};
use timing_core::{Machine, Product, ProductError, Setpoints};

/// How many products are kept.
pub const PRODUCTS_MAX: usize = 64;

/// Largest flash word, bytes, and what an item is padded to at most.
const WORD_MAX: usize = 32;

/// Room for the longest item: key and record, padded.
const BUFFER: usize = (1 + RECORD_MAX).next_multiple_of(WORD_MAX);

/// How often an item is written anew when it does not read back.
const TRIES: usize = 3;

/// What a board sets aside for products; nothing else may stand in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Geometry {
    /// Word, bytes: what is written or read at once, the larger of the two.
    pub word: usize,
    /// Erase unit, bytes.
    pub page: usize,
    /// Erase units.
    pub pages: usize,
}

impl Geometry {
    /// The longest item, its header and padding included, bytes.
    #[must_use]
    pub const fn item_max(self) -> usize {
        8_usize.next_multiple_of(self.word) + (1 + RECORD_MAX).next_multiple_of(self.word)
    }

    /// Longest items that fit into one page beside its two marks.
    #[must_use]
    pub const fn items_per_page(self) -> usize {
        self.page.saturating_sub(2 * self.word) / self.item_max()
    }

    /// Whether every product fits, however full the pages are with old items: one page is always blank, one is being
    /// filled, and the rest would hold all products even with an item's length wasted at each page's end.
    #[must_use]
    pub const fn holds_all(self) -> bool {
        let used = self.page.saturating_sub(2 * self.word + self.item_max());
        self.pages > 2 && (self.pages - 2) * used >= PRODUCTS_MAX * self.item_max()
    }

    /// At least this many changes (of longest records, all slots full) come before any page has been erased more than
    /// `endurance` times. Pages are used in turn, so each wears alike.
    #[must_use]
    pub const fn changes_survived(self, endurance: u64) -> u64 {
        let room = (self.pages.saturating_sub(1) * self.items_per_page()).saturating_sub(PRODUCTS_MAX);
        (room as u64).saturating_mul(endurance)
    }
}

/// Why a product was not stored, found or changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StoreError<E> {
    /// No product has that name.
    NoSuchName,
    /// Another product has that name.
    NameTaken,
    /// All slots hold a product.
    Full,
    /// The figures break a rule of the core on this machine.
    Rule(ProductError),
    /// What is stored does not become set-points.
    Record(RecordError),
    /// The flash refused; what was there before is still there.
    Flash(E),
    /// The flash took the item and does not give it back: it is worn or broken.
    NotKept,
    /// The area is not what this firmware writes.
    Area,
}

impl<E> StoreError<E> {
    /// What is wrong, and what would mend it, for people.
    #[must_use]
    pub const fn words(&self) -> &'static str {
        match self {
            Self::NoSuchName => "no product has that name: look at the list",
            Self::NameTaken => "a product has that name already: choose another, or replace it",
            Self::Full => "all 64 places are taken: delete a product first",
            Self::Rule(e) => e.words(),
            Self::Record(e) => e.words(),
            Self::Flash(_) => {
                "the flash could not be read or written: what was stored before is as it was; try again after power-up"
            }
            Self::NotKept => "the flash did not keep what was written: it is worn out or broken, and must be replaced",
            Self::Area => "the product area of the flash is not readable: its geometry differs from this firmware's",
        }
    }
}

/// What stands in a slot.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Slot {
    Free,
    Named(Name, Result<(), RecordError>),
    Unreadable(RecordError),
}

type Map<F> = MapStorage<u8, AtOnce<F>, Cache<Uncached, Uncached, Uncached, u8>>;

/// The products in an area of flash: pages `0 … PAGES − 1` from `FROM`.
pub struct Products<F: NorFlash, const FROM: u32, const PAGES: usize> {
    map: Map<F>,
    machine: Machine,
    hash: u64,
    slots: [Slot; PRODUCTS_MAX],
}

impl<F: NorFlash, const FROM: u32, const PAGES: usize> Products<F, FROM, PAGES> {
    /// The geometry, checked when this is compiled.
    pub const GEOMETRY: Geometry = {
        let word = if F::WRITE_SIZE > F::READ_SIZE { F::WRITE_SIZE } else { F::READ_SIZE };
        let g = Geometry { word, page: F::ERASE_SIZE, pages: PAGES };
        assert!(word >= 4, "flash words below 4 bytes can lose an acknowledged product at a power cut");
        assert!(word <= WORD_MAX, "flash words above 32 bytes are not supported");
        assert!(g.holds_all(), "the area is too small for all products: give it more pages");
        g
    };

    fn config() -> MapConfig<AtOnce<F>> {
        const { MapConfig::new(FROM..FROM + (Self::GEOMETRY.page * PAGES) as u32) }
    }

    /// Opens the area after power-up: mends what a power cut left, and reads who is there.
    ///
    /// # Errors
    /// [`StoreError::Flash`], or [`StoreError::Area`] when the area cannot be understood.
    pub fn open(mut flash: F, machine: &Machine) -> Result<Self, StoreError<F::Error>> {
        mend::mend(&mut flash, FROM, Self::GEOMETRY)?;
        let map = Map::new(AtOnce(flash), Self::config(), Cache::new_uncached());
        let hash = record::fingerprint(machine);
        let mut it = Self { map, machine: *machine, hash, slots: [const { Slot::Free }; PRODUCTS_MAX] };
        it.read_all()?;
        Ok(it)
    }

    /// Gives the flash back.
    #[must_use]
    pub fn close(self) -> F {
        self.map.destroy().0.0
    }

    fn read_all(&mut self) -> Result<(), StoreError<F::Error>> {
        let mut buffer = [0; BUFFER];
        let mut items = block_on(self.map.fetch_all_items(&mut buffer)).map_err(said)?;
        // Of several items of one slot, the last is the newest.
        while let Some((key, bytes)) = block_on(items.next::<&[u8]>(&mut buffer)).map_err(said)? {
            let Some(slot) = self.slots.get_mut(usize::from(key)) else { continue };
            *slot = match bytes {
                [] => Slot::Free,
                bytes => match record::decode(bytes, &self.machine, self.hash) {
                    Ok((name, standing)) => Slot::Named(name, standing.map(|_| ())),
                    Err(e) => Slot::Unreadable(e),
                },
            };
        }
        Ok(())
    }

    fn find(&self, name: &Name) -> Option<u8> {
        let at = self.slots.iter().position(|s| matches!(s, Slot::Named(n, _) if n == name))?;
        u8::try_from(at).ok()
    }

    /// The names, and whether each product can be recalled on this machine; a slot whose record tells no name is `None`.
    pub fn list(&self) -> impl Iterator<Item = (Option<&Name>, Result<(), RecordError>)> {
        self.slots.iter().filter_map(|s| match s {
            Slot::Free => None,
            Slot::Named(name, standing) => Some((Some(name), *standing)),
            Slot::Unreadable(e) => Some((None, Err(*e))),
        })
    }

    /// Keeps a product under a new name.
    ///
    /// # Errors
    /// [`StoreError::Rule`], [`StoreError::NameTaken`], [`StoreError::Full`], or what the flash says.
    pub fn store(&mut self, name: &Name, product: &Product) -> Result<(), StoreError<F::Error>> {
        Setpoints::new(product, &self.machine).map_err(StoreError::Rule)?;
        if self.find(name).is_some() {
            return Err(StoreError::NameTaken);
        }
        let free = self.slots.iter().position(|s| *s == Slot::Free).ok_or(StoreError::Full)?;
        self.put(u8::try_from(free).map_err(|_| StoreError::Full)?, name, product)
    }

    /// Keeps a product under a name that is in use, in place of what was there.
    ///
    /// # Errors
    /// [`StoreError::Rule`], [`StoreError::NoSuchName`], or what the flash says.
    pub fn replace(&mut self, name: &Name, product: &Product) -> Result<(), StoreError<F::Error>> {
        Setpoints::new(product, &self.machine).map_err(StoreError::Rule)?;
        let slot = self.find(name).ok_or(StoreError::NoSuchName)?;
        self.put(slot, name, product)
    }

    /// Reads a product, and validates it again.
    ///
    /// # Errors
    /// [`StoreError::NoSuchName`], [`StoreError::Record`], or what the flash says.
    pub fn read(&mut self, name: &Name) -> Result<(Product, Setpoints), StoreError<F::Error>> {
        let slot = self.find(name).ok_or(StoreError::NoSuchName)?;
        let mut buffer = [0; BUFFER];
        let bytes = block_on(self.map.fetch_item::<&[u8]>(&mut buffer, &slot)).map_err(said)?;
        let bytes = bytes.ok_or(StoreError::Record(RecordError::Damaged))?;
        let (found, product) = record::decode(bytes, &self.machine, self.hash).map_err(StoreError::Record)?;
        if found != *name {
            // An older item came up in place of a damaged one.
            return Err(StoreError::Record(RecordError::Damaged));
        }
        product.map_err(StoreError::Record)
    }

    /// Gives a product another name; its record is written whole under the new one.
    ///
    /// # Errors
    /// [`StoreError::NameTaken`], or as [`Products::read`]: what cannot be read is not carried over.
    pub fn rename(&mut self, from: &Name, to: &Name) -> Result<(), StoreError<F::Error>> {
        let slot = self.find(from).ok_or(StoreError::NoSuchName)?;
        if from == to {
            return Ok(());
        }
        if self.find(to).is_some() {
            return Err(StoreError::NameTaken);
        }
        let (product, _) = self.read(from)?;
        self.put(slot, to, &product)
    }

    /// Forgets a product, whatever it is for.
    ///
    /// # Errors
    /// [`StoreError::NoSuchName`], or what the flash says.
    pub fn delete(&mut self, name: &Name) -> Result<(), StoreError<F::Error>> {
        let slot = self.find(name).ok_or(StoreError::NoSuchName)?;
        self.write(slot, &[])?;
        self.set(slot, Slot::Free);
        Ok(())
    }

    /// Forgets every record that does not even tell its name; how many there were.
    ///
    /// # Errors
    /// What the flash says; those before are gone by then.
    pub fn delete_unreadable(&mut self) -> Result<usize, StoreError<F::Error>> {
        let mut gone = 0;
        for at in 0..PRODUCTS_MAX {
            if matches!(self.slots.get(at), Some(Slot::Unreadable(_))) {
                let slot = u8::try_from(at).map_err(|_| StoreError::Area)?;
                self.write(slot, &[])?;
                self.set(slot, Slot::Free);
                gone += 1;
            }
        }
        Ok(gone)
    }

    fn set(&mut self, slot: u8, to: Slot) {
        if let Some(s) = self.slots.get_mut(usize::from(slot)) {
            *s = to;
        }
    }

    fn put(&mut self, slot: u8, name: &Name, product: &Product) -> Result<(), StoreError<F::Error>> {
        let mut bytes = [0; RECORD_MAX];
        let item = record::encode(name, product, self.hash, &mut bytes).ok_or(StoreError::Area)?;
        self.write(slot, item)?;
        self.set(slot, Slot::Named(name.clone(), Ok(())));
        Ok(())
    }

    /// Writes an item and reads it back as after a power-up: the map keeps nothing in memory. Even where a torn header
    /// hides the new item, at odds of 1 in 65 536 with words of 4 bytes, nothing is acknowledged that is not found.
    fn write(&mut self, slot: u8, item: &[u8]) -> Result<(), StoreError<F::Error>> {
        let mut buffer = [0; BUFFER];
        for _ in 0..TRIES {
            block_on(self.map.store_item(&mut buffer, &slot, &item)).map_err(said)?;
            let kept = block_on(self.map.fetch_item::<&[u8]>(&mut buffer, &slot)).map_err(said)?;
            if kept == Some(item) {
                return Ok(());
            }
        }
        Err(StoreError::NotKept)
    }
}

fn said<E>(e: sequential_storage::Error<E>) -> StoreError<E> {
    use sequential_storage::Error as S;
    match e {
        S::Storage { value, .. } => StoreError::Flash(value),
        S::FullStorage => StoreError::Full,
        _ => StoreError::Area,
    }
}
