//! The models behind embedded-hal traits, so that the controller logic holds them as it holds real chips.

use std::{cell::RefCell, convert::Infallible, rc::Rc};

use embedded_hal::{
    digital::{self, InputPin, OutputPin},
    spi::{self, Operation, SpiDevice},
};

use super::models::{Line, Models};

/// The models, shared by everything that is wired to them.
pub type Shared = Rc<RefCell<Models>>;

/// The relay drivers' bus; its chip select is RCK.
#[derive(Debug)]
pub struct ChainBus(pub Shared);

/// The ADC's bus.
#[derive(Debug)]
pub struct AdcBus(pub Shared);

/// A line the controller drives.
#[derive(Debug)]
pub struct Output(pub Shared, pub Line);

/// A line the controller reads.
#[derive(Debug)]
pub enum Input {
    /// The ADC's ready line.
    DataReady(Shared),
    /// The lid switch.
    Lid(Shared),
}

/// Carries out the operations of one exchange, byte by byte.
fn exchange(operations: &mut [Operation<'_, u8>], mut byte: impl FnMut(u8) -> u8) {
    for operation in operations {
        match operation {
            Operation::Read(read) => read.iter_mut().for_each(|r| *r = byte(0)),
            Operation::Write(write) => write.iter().for_each(|w| {
                byte(*w);
            }),
            Operation::Transfer(read, write) => {
                for i in 0..read.len().max(write.len()) {
                    let got = byte(write.get(i).copied().unwrap_or(0));
                    if let Some(place) = read.get_mut(i) {
                        *place = got;
                    }
                }
            }
            Operation::TransferInPlace(both) => both.iter_mut().for_each(|b| *b = byte(*b)),
            // Buses are idealised: an exchange takes no model time.
            Operation::DelayNs(_) => {}
        }
    }
}

impl spi::ErrorType for ChainBus {
    type Error = Infallible;
}

impl SpiDevice for ChainBus {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let mut models = self.0.borrow_mut();
        exchange(operations, |byte| models.chain_byte(byte));
        models.chain_latch();
        Ok(())
    }
}

impl spi::ErrorType for AdcBus {
    type Error = Infallible;
}

impl SpiDevice for AdcBus {
    fn transaction(&mut self, operations: &mut [Operation<'_, u8>]) -> Result<(), Infallible> {
        let mut models = self.0.borrow_mut();
        models.adc_select();
        exchange(operations, |byte| models.adc_byte(byte));
        Ok(())
    }
}

impl digital::ErrorType for Output {
    type Error = Infallible;
}

impl OutputPin for Output {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().set_line(self.1, false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.borrow_mut().set_line(self.1, true);
        Ok(())
    }
}

impl digital::ErrorType for Input {
    type Error = Infallible;
}

impl InputPin for Input {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(match self {
            Self::DataReady(models) => models.borrow().data_ready(),
            Self::Lid(models) => models.borrow().lid(),
        })
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}
