//! Copperwalk's controller on a Raspberry Pi Pico.
//!
//! All thinking is done in `copperwalk-core`, which runs on any machine. This crate gives it a
//! microcontroller: pins and buses ([`board`]), the USB line to the host ([`line`]), a light ([`light`]), and
//! what happens when everything else has failed ([`safe`]). Read them in that order.
//!
//! One loop does everything and interrupts never run: they stay masked and only end the sleep. So nothing is
//! shared between contexts, and the watchdog, fed in this loop alone, proves that the whole of it still turns.
#![no_std]
#![no_main]

mod board;
mod light;
mod line;
mod safe;

use copperwalk_core::Instant;
use cortex_m::peripheral::NVIC;
use rp2040_hal::{
    entry,
    timer::{Alarm, Instant as TimerInstant},
};

use crate::{
    board::{Board, WAKE, now},
    light::Light,
    line::Line,
    safe::die,
};

/// Longest sleep, microseconds: the lid is looked at, the watchdog fed and the light turned at least this often.
const TICK_US: u32 = 1_000;
/// Shortest sleep worth setting an alarm for, microseconds; an alarm in the past would never fire.
const SHORTEST_US: u32 = 4;

#[entry]
fn main() -> ! {
    let Some(Board { timer, mut alarm, watchdog, usb, led, controller }) = Board::take() else { die() };
    let mut line = Line::new(usb);
    let mut light = Light::new(led);

    loop {
        watchdog.feed();
        WAKE.into_iter().for_each(NVIC::unpend);
        alarm.clear_interrupt();

        let more = line.take(controller, now(&timer));
        let mut due = controller.poll(now(&timer));
        if due <= now(&timer) {
            // Something was switched: its wait counts from this call, not from after the line's turn.
            due = controller.poll(now(&timer));
        }
        line.give(controller);
        light.show(now(&timer), || controller.status());

        let Instant(wake) = due.min(now(&timer).plus_us(TICK_US));
        let worth = now(&timer).plus_us(SHORTEST_US) < Instant(wake);
        if worth && !more && alarm.schedule_at(TimerInstant::from_ticks(wake)).is_ok() {
            cortex_m::asm::wfi();
        }
    }
}
