//! The front end: which source drives the unit, which clamp guards it, and which way the current runs.
//!
//! The circuit is drawn in [`copperwalk_wire::hardware`]. The 1 mA source is the converter's own, so turning it
//! on is a register write; the load source, the clamps and the reversal switch each hang on a pin.

use embedded_hal::{
    digital::{InputPin, OutputPin},
    spi::SpiDevice,
};

use copperwalk_wire::{Source, message::Fault};

use crate::{
    ads1220::Ads1220,
    drive::{Drive, Step},
};

/// What the unit is driven with.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Excitation {
    /// The source.
    pub source: Source,
    /// What ties the source's node to the bias node.
    pub clamp: Clamp,
    /// Force- is driven instead of force+.
    pub reversed: bool,
}

/// Which clamp is closed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Clamp {
    /// None.
    Open,
    /// 18 Ω.
    Dry,
    /// 180 Ω.
    Isolation,
}

impl Excitation {
    /// No current, forward, 180 Ω: the state in which relays may move, and gentle to a unit that turns out to
    /// carry a battery.
    pub const OFF: Self = Self::of(Source::Off, false);
    /// No current, forward, 18 Ω: for contact checks on a unit known to be dead, because what a capacitor keeps
    /// from the last half-cycle drains ten times as fast.
    pub const REST: Self = Self { source: Source::Off, clamp: Clamp::Dry, reversed: false };

    /// A source with the clamp that belongs to it.
    pub const fn of(source: Source, reversed: bool) -> Self {
        let clamp = match source {
            Source::Off | Source::Isolation => Clamp::Isolation,
            Source::Dry => Clamp::Dry,
            Source::Wide | Source::Load => Clamp::Open,
        };
        Self { source, clamp, reversed }
    }
}

/// The pins of the front end.
#[derive(Debug)]
pub struct FrontEnd<O> {
    load_enable: O,
    dry_clamp: O,
    isolation_clamp: O,
    reverse: O,
    /// What the pins and the converter's source are set to, as far as we know.
    drive: Drive,
}

/// A pin of the controller could not be set: the same chip drives the matrix.
fn pin<T, E>(result: Result<T, E>) -> Result<(), Fault> {
    result.map(|_| ()).map_err(|_| Fault::Matrix)
}

impl<O: OutputPin> FrontEnd<O> {
    /// Takes the pins as they are: call [`off`](Self::off) before anything else.
    pub fn new(load_enable: O, dry_clamp: O, isolation_clamp: O, reverse: O) -> Self {
        Self { load_enable, dry_clamp, isolation_clamp, reverse, drive: Drive::OFF }
    }

    /// Takes every current off the unit and closes the idle clamp. Goes through to the end whatever fails. The reversal
    /// switch stays as it is: what an inductive unit holds of the load current still flows.
    pub fn off<A: SpiDevice, I: InputPin>(&mut self, adc: &mut Ads1220<A, I>) -> Result<(), Fault> {
        self.drive = self.drive.off();
        // Sources first, then clamps: the charge that is left drains through the closed clamp.
        let load = pin(self.load_enable.set_low());
        let current = adc.configure(adc.registers().without_current()).map_err(Fault::from);
        let clamps = self.clamp(Clamp::Isolation);
        load.and(current).and(clamps)
    }

    /// Turns the reversal switch forward, where the bench rests. For when the current is off and its wait over, or when
    /// there is no time to wait.
    pub fn rest(&mut self) -> Result<(), Fault> {
        self.drive = Drive::OFF;
        pin(self.reverse.set_low())
    }

    /// With the source off: wait before a relay may move, µs. See [`Drive::quiet_us`].
    pub fn quiet_us(&self, force_moves: bool) -> u32 {
        self.drive.quiet_us(force_moves)
    }

    /// The caller waits so long before anything else, µs.
    pub fn wait(&mut self, micros: u32) {
        self.drive = self.drive.after(micros);
    }

    /// Goes one step towards `wanted`. Returns how long to wait, µs, and whether this was the last step: if not, ask again
    /// after the wait.
    pub fn drive<A: SpiDevice, I: InputPin>(
        &mut self,
        wanted: Excitation,
        adc: &mut Ads1220<A, I>,
    ) -> Result<(u32, bool), Fault> {
        let Step { drive, wait_us, there } = self.drive.next(wanted);
        let to = drive.excitation();
        let source = self.drive.excitation().source;
        if to.source != source && source != Source::Off {
            self.off(adc)?;
        }
        let present = self.drive.excitation();
        if to.reversed != present.reversed {
            pin(if to.reversed { self.reverse.set_high() } else { self.reverse.set_low() })?;
        }
        if to.clamp != present.clamp {
            self.clamp(to.clamp)?;
        }
        if to.source != present.source {
            match to.source {
                Source::Off => {}
                Source::Load => pin(self.load_enable.set_high())?,
                Source::Dry | Source::Wide | Source::Isolation => {
                    adc.configure(adc.registers().with_current())?;
                }
            }
        }
        self.drive = drive;
        Ok((wait_us, there))
    }

    /// Closes one clamp before it opens the other.
    fn clamp(&mut self, clamp: Clamp) -> Result<(), Fault> {
        match clamp {
            Clamp::Isolation => {
                let closed = pin(self.isolation_clamp.set_high());
                closed.and(pin(self.dry_clamp.set_low()))
            }
            Clamp::Dry => {
                let closed = pin(self.dry_clamp.set_high());
                closed.and(pin(self.isolation_clamp.set_low()))
            }
            Clamp::Open => {
                let open = pin(self.dry_clamp.set_low());
                open.and(pin(self.isolation_clamp.set_low()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use core::{cell::RefCell, convert::Infallible};
    use std::{rc::Rc, vec::Vec};

    use embedded_hal::{
        digital,
        spi::{self, Operation},
    };

    use copperwalk_wire::hardware::wait::{
        IDAC_START_US, LOAD_QUIET_US, LOAD_TURN_US, REVERSE_US, SETTLE_US, TURN_US, WIDE_US,
    };

    use super::*;

    /// What was done, in order: a pin's name and level, or the registers after a write.
    #[derive(Clone, Copy, PartialEq, Eq, Debug)]
    enum Did {
        Pin(&'static str, bool),
        Wrote([u8; 4]),
    }
    type Log = Rc<RefCell<Vec<Did>>>;

    struct Pin(Log, &'static str);
    impl digital::ErrorType for Pin {
        type Error = Infallible;
    }
    impl OutputPin for Pin {
        fn set_low(&mut self) -> Result<(), Infallible> {
            self.0.borrow_mut().push(Did::Pin(self.1, false));
            Ok(())
        }
        fn set_high(&mut self) -> Result<(), Infallible> {
            self.0.borrow_mut().push(Did::Pin(self.1, true));
            Ok(())
        }
    }
    impl InputPin for Pin {
        fn is_high(&mut self) -> Result<bool, Infallible> {
            Ok(true)
        }
        fn is_low(&mut self) -> Result<bool, Infallible> {
            Ok(false)
        }
    }

    /// The converter's registers and nothing else.
    struct Adc(Log, [u8; 4]);
    impl spi::ErrorType for Adc {
        type Error = Infallible;
    }
    impl SpiDevice for Adc {
        fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
            for operation in operations {
                match operation {
                    Operation::Write(frame) => {
                        let first = usize::from(frame[0] >> 2 & 3);
                        self.1[first..first + frame.len() - 1].copy_from_slice(&frame[1..]);
                        self.0.borrow_mut().push(Did::Wrote(self.1));
                    }
                    Operation::TransferInPlace(frame) => frame[1..].copy_from_slice(&self.1),
                    other => panic!("{other:?}"),
                }
            }
            Ok(())
        }
    }

    fn setup() -> (FrontEnd<Pin>, Ads1220<Adc, Pin>, Log) {
        let log = Log::default();
        let pin = |name| Pin(log.clone(), name);
        let mut front_end = FrontEnd::new(pin("load"), pin("dry"), pin("isolation"), pin("reverse"));
        let mut adc = Ads1220::new(Adc(log.clone(), [0xAA; 4]), pin("ready"));
        front_end.off(&mut adc).unwrap();
        log.take();
        (front_end, adc, log)
    }

    const OFF: [u8; 4] = [0xE0, 0, 0, 0];
    /// 1000 µA, to REFP0.
    const CURRENT: [u8; 4] = [0xE0, 0, 0x06, 0xA0];

    #[test]
    fn each_source_has_its_clamp_and_comes_on_last() {
        use Did::{Pin, Wrote};
        let cases: [(Source, u32, &[Did]); 4] = [
            (Source::Dry, IDAC_START_US, &[Pin("dry", true), Pin("isolation", false), Wrote(CURRENT)]),
            (
                Source::Wide,
                IDAC_START_US + WIDE_US,
                &[Pin("dry", false), Pin("isolation", false), Wrote(CURRENT)],
            ),
            // Its clamp is the idle one, closed already.
            (Source::Isolation, IDAC_START_US, &[Wrote(CURRENT)]),
            (Source::Load, 0, &[Pin("dry", false), Pin("isolation", false), Pin("load", true)]),
        ];
        for (source, start_us, expected) in cases {
            let (mut front_end, mut adc, log) = setup();
            let forward = Excitation::of(source, false);
            assert_eq!(front_end.drive(forward, &mut adc), Ok((start_us + SETTLE_US, true)));
            assert_eq!(log.take(), expected, "{source:?}");
            // Already so: nothing moves and nothing is waited for.
            assert_eq!(front_end.drive(forward, &mut adc), Ok((0, true)));
            assert!(log.borrow().is_empty());
            if source != Source::Load {
                // A milliampere goes round while it flows.
                let (wait_us, there) = front_end.drive(Excitation::of(source, true), &mut adc).unwrap();
                assert!(there && wait_us >= REVERSE_US);
                assert_eq!(log.take(), [Pin("reverse", true)]);
            }
        }
    }

    #[test]
    fn load_current_goes_round_in_three_steps_and_is_off_while_the_switch_turns() {
        use Did::Pin;
        let (mut front_end, mut adc, log) = setup();
        front_end.drive(Excitation::of(Source::Load, false), &mut adc).unwrap();
        log.take();
        let back = Excitation::of(Source::Load, true);
        assert_eq!(front_end.drive(back, &mut adc), Ok((LOAD_TURN_US, false)));
        assert_eq!(log.take(), [Pin("load", false), Pin("isolation", true), Pin("dry", false)]);
        assert_eq!(front_end.drive(back, &mut adc), Ok((TURN_US, false)));
        assert_eq!(log.take(), [Pin("reverse", true)]);
        assert_eq!(front_end.drive(back, &mut adc), Ok((SETTLE_US, true)));
        assert_eq!(log.take(), [Pin("dry", false), Pin("isolation", false), Pin("load", true)]);
    }

    #[test]
    fn off_takes_the_sources_off_before_it_moves_a_clamp_and_lets_the_reversal_stand() {
        let (mut front_end, mut adc, log) = setup();
        front_end.drive(Excitation::of(Source::Dry, true), &mut adc).unwrap();
        log.take();
        front_end.off(&mut adc).unwrap();
        let expected =
            [Did::Pin("load", false), Did::Wrote(OFF), Did::Pin("isolation", true), Did::Pin("dry", false)];
        assert_eq!(log.take(), expected);
        front_end.rest().unwrap();
        assert_eq!(log.take(), [Did::Pin("reverse", false)]);
    }

    #[test]
    fn from_one_source_to_another_there_is_a_moment_without() {
        let (mut front_end, mut adc, log) = setup();
        front_end.drive(Excitation::of(Source::Load, false), &mut adc).unwrap();
        log.take();
        front_end.drive(Excitation::of(Source::Dry, false), &mut adc).unwrap();
        assert_eq!(log.take().first(), Some(&Did::Pin("load", false)));
        front_end.wait(LOAD_QUIET_US);
        front_end.drive(Excitation::of(Source::Dry, false), &mut adc).unwrap();
        assert_eq!(log.take().last(), Some(&Did::Wrote(CURRENT)));
    }
}
