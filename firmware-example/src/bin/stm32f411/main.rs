//! The loop on a real, cheap, common board: an STM32F411 in its 64-pin package. **Built, never run**: prove it by the bring-up list of the chapter
//! "On a controller" before a valve is plugged in.
//!
//! Machine and product are the invented ones of `timing_core::example`: put your own in their place, as `capcycle plan` gives them.
//!
//! | pin | what | pin | what |
//! |---|---|---|---|
//! | PA0, PA1 | belt encoder A, B (TIM2 counts all four edges) | PC10 | entry gate |
//! | PB3 | pocket eye | PC11 | release gate |
//! | PB4 | release eye | PB5 | grip |
//! | PA15 | discharge eye | PB8 | plunger |
//! | PA6 | entry gate home | PB9 | rollers |
//! | PA7 | release gate home | PC12 | reject |
//! | PA4 | grip home | PA11 | belt |
//! | PB0 | grip on work | PA12 | spin |
//! | PB1 | grip over | PC8 | beacon |
//! | PB10 | plunger home | PC9 | ready to upstream |
//! | PB12 | plunger on work | PB6 | belt set-point (TIM4, duty) |
//! | PB13 | plunger over | PB7 | roller set-point (TIM4, duty) |
//! | PB14 | rollers home | PC0 … PC6 | buttons: stop, abort, hold, unhold, clear, reset, start |
//! | PB15 | rollers on work | PA8 | chain closed |
//! | PA9 | guard shut | PA10 | air on |
//! | PA2, PA3 | serial port out, in (USART2) | PC13 | low at power-up: serve the link, and nothing else |
//!
//! Every input is pulled up and is *on* when low (an isolator that conducts), so that a broken wire reads as off: chain open, nobody home. Every
//! output is *on* when high; pull each down outside, so that it is off while the processor starts. PA15, PB3 and PB4 carry the debug port's JTAG until a
//! program takes them, and PA15 and PB4 are then pulled up inside: they are inputs here, for an output on them would be on at every reset. The independent watchdog resets the
//! processor after half a second without a tick that ended well, and a reset lets go of every pin.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod link;

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!(
        "this is a program for a board: cargo build -p firmware-example --bin stm32f411 --features stm32f411 --profile firmware --target thumbv7em-none-eabihf"
    );
}
