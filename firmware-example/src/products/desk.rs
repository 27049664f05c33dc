//! What an operator may ask of the stored products, and when.

use super::{Name, Products, StoreError};
use embedded_storage::nor_flash::NorFlash;
use timing_core::{Duration, Inputs, Instant, Product, Station};

/// A recall must be confirmed within this time.
pub const CONFIRM_WITHIN: Duration = Duration::from_millis(10_000);

/// What is asked.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Ask<'a> {
    /// Keep a product under a new name.
    Store(&'a Name, &'a Product),
    /// Keep a product in place of the one of that name.
    Replace(&'a Name, &'a Product),
    /// Another name for a product.
    Rename(&'a Name, &'a Name),
    /// Forget a product.
    Delete(&'a Name),
    /// Forget what does not even tell its name.
    DeleteUnreadable,
    /// Get ready to run a product; nothing changes yet.
    Recall(&'a Name),
    /// Run the product that was just asked for by name.
    Confirm,
    /// Do not.
    Cancel,
}

/// What was done.
#[derive(Clone, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Answer {
    /// It was done, and is kept.
    Done,
    /// Say this name back and ask for [`Ask::Confirm`], by then.
    ConfirmBy(Name, Instant),
    /// The station's set-points are now this product's.
    Loaded(Name),
}

/// Why nothing was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal<E> {
    /// Only in Stopped or Idle, with nothing inside.
    NotAtRest,
    /// No recall waits for a confirmation: none was asked for, too long ago, or something else was asked since.
    NothingToConfirm,
    /// The product is not the one that was asked for.
    Changed,
    /// The store says no.
    Store(StoreError<E>),
}

impl<E> Refusal<E> {
    /// What is wrong, and what would mend it, for people.
    #[must_use]
    pub const fn words(&self) -> &'static str {
        match self {
            Self::NotAtRest => "only in Stopped or Idle with nothing inside: stop the station and let it empty",
            Self::NothingToConfirm => "nothing waits for a confirmation: ask for the product again",
            Self::Changed => "the stored product has changed since it was asked for: ask for it again",
            Self::Store(e) => e.words(),
        }
    }
}

struct Armed {
    name: Name,
    product: Product,
    since: Instant,
}

/// The one way to the stored products while a station runs: whatever writes flash or changes set-points waits for rest.
pub struct Desk<F: NorFlash, const FROM: u32, const PAGES: usize> {
    products: Products<F, FROM, PAGES>,
    armed: Option<Armed>,
}

impl<F: NorFlash, const FROM: u32, const PAGES: usize> Desk<F, FROM, PAGES> {
    /// A desk in front of opened products.
    #[must_use]
    pub const fn new(products: Products<F, FROM, PAGES>) -> Self {
        Self { products, armed: None }
    }

    /// What is kept; reading the list disturbs nothing.
    #[must_use]
    pub const fn products(&self) -> &Products<F, FROM, PAGES> {
        &self.products
    }

    /// Gives the products back.
    #[must_use]
    pub fn close(self) -> Products<F, FROM, PAGES> {
        self.products
    }

    /// Shown every tick's inputs: a request to the station takes back a recall that waits to be confirmed.
    pub fn see(&mut self, inputs: &Inputs) {
        if inputs.request.is_some() {
            self.armed = None;
        }
    }

    /// Does what is asked, or says why not. Everything but [`Ask::Confirm`] takes back a recall that waits.
    ///
    /// # Errors
    /// [`Refusal`]; nothing has changed then.
    pub fn ask(&mut self, ask: Ask<'_>, station: &mut Station, now: Instant) -> Result<Answer, Refusal<F::Error>> {
        let armed = self.armed.take();
        if matches!(ask, Ask::Cancel) {
            return Ok(Answer::Done);
        }
        // The station's own answer, by loading what it has.
        let present = *station.setpoints();
        station.load(present).map_err(|_| Refusal::NotAtRest)?;
        let done = match ask {
            Ask::Store(name, product) => self.products.store(name, product),
            Ask::Replace(name, product) => self.products.replace(name, product),
            Ask::Rename(from, to) => self.products.rename(from, to),
            Ask::Delete(name) => self.products.delete(name),
            Ask::DeleteUnreadable => self.products.delete_unreadable().map(|_| ()),
            Ask::Recall(name) => return self.arm(name, now),
            Ask::Confirm => return self.confirm(armed, station, now),
            Ask::Cancel => Ok(()),
        };
        done.map(|()| Answer::Done).map_err(Refusal::Store)
    }

    fn arm(&mut self, name: &Name, now: Instant) -> Result<Answer, Refusal<F::Error>> {
        let (product, _) = self.products.read(name).map_err(Refusal::Store)?;
        self.armed = Some(Armed { name: name.clone(), product, since: now });
        Ok(Answer::ConfirmBy(name.clone(), now.plus(CONFIRM_WITHIN)))
    }

    fn confirm(
        &mut self,
        armed: Option<Armed>,
        station: &mut Station,
        now: Instant,
    ) -> Result<Answer, Refusal<F::Error>> {
        let armed = armed.filter(|a| now >= a.since && now <= a.since.plus(CONFIRM_WITHIN));
        let Armed { name, product, .. } = armed.ok_or(Refusal::NothingToConfirm)?;
        let (found, setpoints) = self.products.read(&name).map_err(Refusal::Store)?;
        if found != product {
            return Err(Refusal::Changed);
        }
        station.load(setpoints).map_err(|_| Refusal::NotAtRest)?;
        Ok(Answer::Loaded(name))
    }
}
