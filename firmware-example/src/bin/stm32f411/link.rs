//! The link on a serial port, in place of the station: so that `capcycle lockstep --port` can compare this board with the desk.
//!
//! Not one output is driven here: the pins stay as the reset left them, whatever the ticks order.
// Letting an interrupt in is the one thing here that needs it.
#![allow(unsafe_code)]

use core::cell::RefCell;
use cortex_m::interrupt::{Mutex, free};
use firmware_example::link::{FRAME_MAX, Session, WINDOW, Wire, WireFailed, serve};
use heapless::spsc::{Consumer, Producer, Queue};
use stm32f4xx_hal::pac::{NVIC, USART2, interrupt};
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::serial::{Rx, RxListen, Serial, Tx};
use stm32f4xx_hal::watchdog::IndependentWatchdog;

/// Bits a second, 8 data bits, no parity, one stop bit.
pub(crate) const BAUD: u32 = 115_200;

/// Room for what comes while a batch is ticked and answered: all that a desk may have on its way.
const ROOM: usize = 4_096;

const _: () = assert!(ROOM > WINDOW * FRAME_MAX);

/// The receiving half, for its interrupt alone.
static RECEIVER: Mutex<RefCell<Option<Receiver>>> = Mutex::new(RefCell::new(None));

struct Receiver {
    from: Rx<USART2>,
    to: Producer<'static, u8>,
}

/// What is garbled, or finds no room, is missed: the frame's check tells, and the desk asks again.
#[interrupt]
fn USART2() {
    free(|cs| {
        if let Ok(mut receiver) = RECEIVER.borrow(cs).try_borrow_mut()
            && let Some(Receiver { from, to }) = receiver.as_mut()
            && let Ok(byte) = from.read()
        {
            let _ = to.enqueue(byte);
        }
    });
}

struct Port {
    from: Consumer<'static, u8>,
    to: Tx<USART2>,
    /// Fed while the port is waited for or written: a tick that hangs comes back to neither.
    dog: IndependentWatchdog,
}

impl Wire for Port {
    /// Waits for as long as it takes: nothing is on that silence would have to put off.
    fn read(&mut self, into: &mut [u8]) -> Result<usize, WireFailed> {
        loop {
            self.dog.feed();
            let mut n = 0;
            for (place, byte) in into.iter_mut().zip(core::iter::from_fn(|| self.from.dequeue())) {
                *place = byte;
                n += 1;
            }
            if n > 0 {
                return Ok(n);
            }
        }
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), WireFailed> {
        for &byte in bytes {
            self.dog.feed();
            stm32f4xx_hal::block!(self.to.write(byte)).map_err(|_| WireFailed)?;
        }
        Ok(())
    }
}

/// Serves the link until the board is reset; back only when what it needs has been taken already.
pub(crate) fn serve_for_ever(serial: Serial<USART2>, dog: IndependentWatchdog) {
    let session = cortex_m::singleton!(: Session = const { Session::new() });
    let queue = cortex_m::singleton!(: Queue<u8, ROOM> = const { Queue::new() });
    let (Some(session), Some(queue)) = (session, queue) else { return };
    let (producer, consumer) = queue.split();
    let (to, mut from) = serial.split();
    from.listen();
    free(|cs| RECEIVER.borrow(cs).replace(Some(Receiver { from, to: producer })));
    // SAFETY: the handler shares nothing but the receiver, which is in its place, behind a lock.
    unsafe { NVIC::unmask(interrupt::USART2) };
    let mut port = Port { from: consumer, to, dog };
    loop {
        // A port that fails is taken up again: the desk asks again too.
        let _ = serve(session, &mut port, &mut ());
    }
}
