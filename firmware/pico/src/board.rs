//! The Pico with the bench around it: which pin does what, and everything brought up in a safe order.

use copperwalk_core::Parts;
use cortex_m::{peripheral::NVIC, singleton};
use embedded_hal_bus::spi::{ExclusiveDevice, NoDelay};
use fugit::{ExtU32, RateExtU32};
use rp2040_hal::{
    Clock, Sio, Spi, Timer, Watchdog,
    clocks::init_clocks_and_plls,
    gpio::{
        DynPinId, FunctionNull, FunctionSio, FunctionSpi, Pin, PinId, Pins, PullDown, PullUp, SioInput,
        SioOutput, ValidFunction,
    },
    pac::{self, Interrupt},
    spi::Enabled,
    timer::{Alarm, Alarm0},
    usb::UsbBus,
};
use usb_device::{
    bus::UsbBusAllocator,
    device::{StringDescriptors, UsbDevice, UsbDeviceBuilder, UsbVidPid},
};
use usbd_serial::{SerialPort, USB_CLASS_CDC};

use crate::safe;

/// Pin types, the `take_pin!` macro, safe levels and bus speeds, made from `hardware/pins.toml` by the build script.
#[macro_use]
#[allow(dead_code, reason = "the map names the type of every pin; only those of the buses are needed")]
pub mod pins {
    include!(concat!(env!("OUT_DIR"), "/pins.rs"));
}

/// Second-stage boot loader for the flash chip of the Pico; the boot ROM runs it from the first 256 bytes.
#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// Crystal of the Pico, hertz.
const CRYSTAL_HZ: u32 = 12_000_000;
/// The watchdog resets the chip after this long without the main loop, milliseconds. A hung controller must be dark within
/// 100 ms; a turn of the loop takes well under one.
const WATCHDOG_MS: u32 = 60;
/// A test number of pid.codes, for anything that is not sold.
/// Sold benches need a number of their own.
const USB_ID: UsbVidPid = UsbVidPid(0x1209, 0x0001);
/// What the bench may draw from the cable, milliamperes, relay coils included: docs/build-the-bench.md has the budget.
const MAX_POWER_MA: usize = 250;

/// An output; its number is known at run time only, so that all outputs are one type.
type Out = Pin<DynPinId, FunctionSio<SioOutput>, PullDown>;
/// An input held high by the chip: an open switch and a broken wire read high.
type In = Pin<DynPinId, FunctionSio<SioInput>, PullUp>;
/// A pin that an SPI block drives or reads.
type Bus<I> = Pin<I, FunctionSpi, PullDown>;

/// The chain of relay drivers, with what comes out of its end.
type Chain = ExclusiveDevice<
    Spi<Enabled, pac::SPI0, (Bus<pins::ChainData>, Bus<pins::ChainBack>, Bus<pins::ChainClock>)>,
    Out,
    NoDelay,
>;
/// The analogue-to-digital converter.
type Adc = ExclusiveDevice<
    Spi<Enabled, pac::SPI1, (Bus<pins::AdcDataIn>, Bus<pins::AdcDataOut>, Bus<pins::AdcClock>)>,
    Out,
    NoDelay,
>;
/// The controller with this board's parts.
pub type Controller = copperwalk_core::Controller<Chain, Adc, Out, In>;

/// The USB device and the serial port on it.
pub struct Usb {
    /// Answers the host's questions about the device.
    pub device: UsbDevice<'static, UsbBus>,
    /// The serial port: whole frames fit its buffers.
    pub port: SerialPort<'static, UsbBus, [u8; PORT_BUFFER], [u8; PORT_BUFFER]>,
}
/// Bytes the serial port buffers each way: two of the longest frames.
const PORT_BUFFER: usize = 2 * copperwalk_wire::MAX_FRAME;

/// What the main loop works with.
pub struct Board {
    /// Microseconds since the start.
    pub timer: Timer,
    /// Ends the sleep.
    pub alarm: Alarm0,
    /// Resets the chip unless fed.
    pub watchdog: Watchdog,
    /// The line to the host.
    pub usb: Usb,
    /// The light on the board.
    pub led: Out,
    /// The controller, which owns everything else.
    pub controller: &'static mut Controller,
}

/// Interrupts that end the sleep. They stay masked in the processor: no handler ever runs.
pub const WAKE: [Interrupt; 2] = [Interrupt::TIMER_IRQ_0, Interrupt::USBCTRL_IRQ];

impl Board {
    /// Brings the board up: safe levels first, then time, then buses, then the line to the host.
    ///
    /// `None` if it was called before, or the clocks cannot be set up: nothing can be done without either.
    pub fn take() -> Option<Self> {
        cortex_m::interrupt::disable();
        safe::all_open();
        let mut pac = pac::Peripherals::take()?;
        let sio = Sio::new(pac.SIO);
        let pins = Pins::new(pac.IO_BANK0, pac.PADS_BANK0, sio.gpio_bank0, &mut pac.RESETS);
        // Each output stands at its safe level before it drives.
        let output_enable = output(take_pin!(pins.output_enable));
        let load_enable = output(take_pin!(pins.load_enable));
        let shift_clear = output(take_pin!(pins.shift_clear));
        let dry_clamp = output(take_pin!(pins.dry_clamp));
        let isolation_clamp = output(take_pin!(pins.isolation_clamp));
        let reverse = output(take_pin!(pins.reverse));
        let chain_latch = output(take_pin!(pins.chain_latch));
        let adc_select = output(take_pin!(pins.adc_select));
        let led = output(take_pin!(pins.led));

        let mut watchdog = Watchdog::new(pac.WATCHDOG);
        let watchdog_reset = watchdog_reset();
        let clocks = init_clocks_and_plls(
            CRYSTAL_HZ,
            pac.XOSC,
            pac.CLOCKS,
            pac.PLL_SYS,
            pac.PLL_USB,
            &mut pac.RESETS,
            &mut watchdog,
        )
        .ok()?;
        let mut timer = Timer::new(pac.TIMER, &mut pac.RESETS, &clocks);
        let mut alarm = timer.alarm_0()?;
        alarm.enable_interrupt();
        let serial = flash_serial();
        // From here on the loop has to turn.
        watchdog.start(WATCHDOG_MS.millis());

        let peripheral_clock = clocks.peripheral_clock.freq();
        let chain = Spi::<_, _, _, 8>::new(
            pac.SPI0,
            (
                take_pin!(pins.chain_data).into_function(),
                take_pin!(pins.chain_back).into_function(),
                take_pin!(pins.chain_clock).into_function(),
            ),
        )
        .init(&mut pac.RESETS, peripheral_clock, pins::CHAIN_HZ.Hz(), pins::CHAIN_MODE);
        let adc = Spi::<_, _, _, 8>::new(
            pac.SPI1,
            (
                take_pin!(pins.adc_data_in).into_function(),
                take_pin!(pins.adc_data_out).into_function(),
                take_pin!(pins.adc_clock).into_function(),
            ),
        )
        .init(&mut pac.RESETS, peripheral_clock, pins::ADC_HZ.Hz(), pins::ADC_MODE);

        let parts = Parts {
            matrix: ExclusiveDevice::new_no_delay(chain, chain_latch).ok()?,
            adc: ExclusiveDevice::new_no_delay(adc, adc_select).ok()?,
            shift_clear,
            output_enable,
            load_enable,
            dry_clamp,
            isolation_clamp,
            reverse,
            lid: take_pin!(pins.lid).into_pull_up_input().into_dyn_pin(),
            data_ready: take_pin!(pins.data_ready).into_pull_up_input().into_dyn_pin(),
        };
        let controller = singleton!(
            CONTROLLER: Controller =
                Controller::new(parts, COUNTED, serial, FIRMWARE, watchdog_reset, now(&timer))
        )?;

        let bus = UsbBus::new(
            pac.USBCTRL_REGS,
            pac.USBCTRL_DPRAM,
            clocks.usb_clock,
            true, // the Pico does not wire VBUS to the detecting pin
            &mut pac.RESETS,
        );
        let bus = singleton!(BUS: UsbBusAllocator<UsbBus> = UsbBusAllocator::new(bus))?;
        let serial_text = singleton!(SERIAL: [u8; 16] = hex(serial))?;
        let usb = Usb::new(bus, core::str::from_utf8(serial_text).ok()?)?;

        for interrupt in WAKE {
            // SAFETY: every interrupt is masked in the processor for good; this only lets it end a sleep.
            unsafe { NVIC::unmask(interrupt) };
        }
        Some(Self { timer, alarm, watchdog, usb, led, controller })
    }
}

impl Usb {
    fn new(bus: &'static UsbBusAllocator<UsbBus>, serial: &'static str) -> Option<Self> {
        let port = SerialPort::new_with_store(bus, [0; PORT_BUFFER], [0; PORT_BUFFER]);
        let names = StringDescriptors::default()
            .manufacturer("Copperwalk")
            .product("Copperwalk controller")
            .serial_number(serial);
        let device = UsbDeviceBuilder::new(bus, USB_ID)
            .strings(&[names])
            .ok()?
            .device_class(USB_CLASS_CDC)
            .max_packet_size_0(64)
            .ok()?
            .max_power(MAX_POWER_MA)
            .ok()?
            .build();
        Some(Self { device, port })
    }
}

/// The time as the core tells it.
pub fn now(timer: &Timer) -> copperwalk_core::Instant {
    copperwalk_core::Instant(timer.get_counter().ticks())
}

/// An output that stands at its safe level from the moment it drives.
fn output<I: PinId + ValidFunction<FunctionSio<SioOutput>>>(pin: Pin<I, FunctionNull, PullDown>) -> Out {
    let high = (pins::SAFE_HIGH >> pin.id().num) & 1 == 1;
    pin.into_push_pull_output_in_state(high.into()).into_dyn_pin()
}

/// Whether the watchdog caused the last reset.
fn watchdog_reset() -> bool {
    // SAFETY: reading the reason has no effect, and nothing writes it.
    unsafe { &*pac::WATCHDOG::ptr() }.reason().read().timer().bit_is_set()
}

/// The unique number of the flash chip.
fn flash_serial() -> [u8; 8] {
    let mut serial = [0; 8];
    // SAFETY: the flash must not be read meanwhile: interrupts are masked, the second core never started and no
    // DMA runs. `true` lets a copy of the boot loader bring fast reading back.
    unsafe { rp2040_flash::flash::flash_unique_id(&mut serial, true) };
    serial
}

/// The bytes in hexadecimal, as the USB serial number; the host prints the number in `Hello` the same way.
fn hex(bytes: [u8; 8]) -> [u8; 16] {
    let mut text = [0; 16];
    for (pair, byte) in text.chunks_exact_mut(2).zip(bytes) {
        for (digit, nibble) in pair.iter_mut().zip([byte >> 4, byte & 15]) {
            *digit = b"0123456789ABCDEF"[usize::from(nibble)];
        }
    }
    text
}

/// Which relays there are follows from the registers of the chain.
const COUNTED: Option<copperwalk_core::Layout> = None;

/// `major.minor.patch` of the package, read at compile time.
const FIRMWARE: (u8, u8, u8) = (
    number(env!("CARGO_PKG_VERSION_MAJOR")),
    number(env!("CARGO_PKG_VERSION_MINOR")),
    number(env!("CARGO_PKG_VERSION_PATCH")),
);

/// A decimal number.
const fn number(text: &str) -> u8 {
    match u8::from_str_radix(text, 10) {
        Ok(number) => number,
        Err(_) => 0,
    }
}
