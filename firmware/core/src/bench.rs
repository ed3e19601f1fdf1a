//! All that the controller drives, and the one state every trouble ends in: current off, every relay open.

use embedded_hal::{
    digital::{InputPin, OutputPin},
    spi::SpiDevice,
};

use copperwalk_wire::message::Fault;

use crate::{
    ads1220::Ads1220,
    front_end::FrontEnd,
    matrix::{Layout, Matrix, MatrixError},
};

/// What the controller works with; it owns them for life, so no output is ever let go.
#[derive(Debug)]
pub struct Parts<M, A, O, I> {
    /// The shift-register chain, SPI mode 0; its chip select is RCK, whose rising edge latches.
    pub matrix: M,
    /// The ADC, SPI mode 1.
    pub adc: A,
    /// SRCLR of the chain, active low.
    pub shift_clear: O,
    /// G of the chain, active low: high opens every relay.
    pub output_enable: O,
    /// Load source on while high.
    pub load_enable: O,
    /// Dry clamp closed while high.
    pub dry_clamp: O,
    /// Isolation clamp closed while high.
    pub isolation_clamp: O,
    /// Current through the unit reversed while high.
    pub reverse: O,
    /// High while the lid is open or its wire is broken.
    pub lid: I,
    /// Data ready of the ADC, active low.
    pub data_ready: I,
}

/// The parts, put together.
#[derive(Debug)]
pub struct Bench<M, A, O, I, const BYTES: usize> {
    pub(crate) matrix: Matrix<M, O, BYTES>,
    pub(crate) adc: Ads1220<A, I>,
    pub(crate) front_end: FrontEnd<O>,
    pub(crate) layout: Layout,
    lid: I,
}

impl From<MatrixError> for Fault {
    fn from(error: MatrixError) -> Self {
        match error {
            MatrixError::Chain => Self::Matrix,
            MatrixError::Register { behind } => Self::Register { behind },
        }
    }
}

impl<M: SpiDevice, A: SpiDevice, O: OutputPin, I: InputPin, const BYTES: usize> Bench<M, A, O, I, BYTES> {
    /// With a matrix of this layout; without one, of the layout that follows from the registers it counts.
    pub(crate) fn new(parts: Parts<M, A, O, I>, layout: Option<Layout>) -> Self {
        let mut matrix = Matrix::new(parts.matrix, parts.shift_clear, parts.output_enable);
        // A chain that cannot be counted has no channel; the first attempt to open it says why.
        let layout = layout.unwrap_or_else(|| matrix.count().map_or(Layout::NONE, Layout::of_registers));
        matrix.lay_out(layout);
        Self {
            matrix,
            adc: Ads1220::new(parts.adc, parts.data_ready),
            front_end: FrontEnd::new(
                parts.load_enable,
                parts.dry_clamp,
                parts.isolation_clamp,
                parts.reverse,
            ),
            layout,
            lid: parts.lid,
        }
    }

    /// Current off; relays stay.
    pub(crate) fn quiet(&mut self) -> Result<(), Fault> {
        self.front_end.off(&mut self.adc)
    }

    /// Current off, then every relay open, outputs disabled, and the reversal switch forward; all are tried whatever fails,
    /// and the first failure is returned. Registers are written whole, so this also recovers a converter that lost them.
    pub(crate) fn all_open(&mut self) -> Result<(), Fault> {
        self.adc.distrust();
        let quiet = self.front_end.off(&mut self.adc);
        let open = self.matrix.open().map_err(Fault::from);
        quiet.and(open).and(self.front_end.rest())
    }

    /// A lid that cannot be read counts as open.
    pub(crate) fn lid_open(&mut self) -> bool {
        self.lid.is_high().unwrap_or(true)
    }
}
