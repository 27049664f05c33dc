//! The panic handler calls a function that exists nowhere, so a panic that can be reached does not link.

unsafe extern "C" {
    fn a_panic_can_be_reached() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: never linked: the function has no body, and the link fails where this call is reachable.
    unsafe { a_panic_can_be_reached() }
}
