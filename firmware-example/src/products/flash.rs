//! From the blocking flash that a board has to the asynchronous one that the map is written for.

use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};
use embedded_storage_async::nor_flash as later;

/// A blocking flash behind the asynchronous traits: every future is ready when it is first polled.
#[derive(Debug)]
pub(super) struct AtOnce<F>(pub(super) F);

impl<F: ErrorType> ErrorType for AtOnce<F> {
    type Error = F::Error;
}

impl<F: ReadNorFlash> later::ReadNorFlash for AtOnce<F> {
    const READ_SIZE: usize = F::READ_SIZE;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        self.0.read(offset, bytes)
    }

    fn capacity(&self) -> usize {
        self.0.capacity()
    }
}

impl<F: NorFlash> later::NorFlash for AtOnce<F> {
    const WRITE_SIZE: usize = F::WRITE_SIZE;
    const ERASE_SIZE: usize = F::ERASE_SIZE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        self.0.erase(from, to)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.0.write(offset, bytes)
    }
}
