//! Example firmware.
#![no_std]
