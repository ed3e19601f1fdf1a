//! The last line of defence: what a pin must do while nobody is in charge, and how the firmware dies.
//!
//! Everything here writes registers directly and needs nothing to be set up, so it works from the first
//! instruction and in the middle of anything.

use core::panic::PanicInfo;

use cortex_m_rt::{ExceptionFrame, exception};
use rp2040_hal::pac;

use crate::board::pins;

/// Every relay open and the load source off, at once, whatever the rest of the firmware believes.
///
/// The load source goes first, then output-enable, which alone opens the relays: no contact breaks 50 mA. The latch, should
/// it rise with it, finds the shift registers cleared.
///
/// The ADC's own 1 mA source may still be on; with every relay open it flows through the front end alone.
pub fn all_open() {
    // SAFETY: the SIO's set and clear registers are write-only and touch no other bit; the single-cycle port
    // needs no clock or reset set-up. Nothing else runs: interrupts are masked and the second core sleeps.
    let sio = unsafe { &*pac::SIO::ptr() };
    // SAFETY: any bit pattern is a valid write to these registers.
    unsafe {
        sio.gpio_out_clr().write(|w| w.bits(pins::SAFE_LOW));
        sio.gpio_out_set().write(|w| w.bits(pins::SAFE_HIGH));
    }
}

/// Opens everything, then waits for the watchdog: it resets the chip, and the host is told on the next `Hello`.
pub fn die() -> ! {
    cortex_m::interrupt::disable();
    loop {
        all_open();
    }
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    die()
}

// SAFETY: neither handler returns, so nothing can observe what they interrupted.
#[exception]
unsafe fn HardFault(_: &ExceptionFrame) -> ! {
    die()
}

// SAFETY: as above.
#[exception]
unsafe fn DefaultHandler(_: i16) -> ! {
    die()
}
