//! The analogue front end between the chips and the relay matrix, as [`circuit`](super::figures::circuit) has it:
//! sources with their tolerance and compliance, clamps, reversal switch, measuring resistor, bias, bleed.

use super::{
    adc::{Adc, AdcPin},
    amplifier::AVDD,
    capacitor::Capacitor,
    figures::{
        Figures,
        circuit::{
            BIAS_VOLTS, BURNOUT_AMPS, DAMPER_FARADS, DAMPER_OHMS, DRY_CLAMP_OHMS, FREEWHEEL_OHMS,
            ISOLATION_CLAMP_OHMS, LOAD_AMPS, LOAD_COMPLIANCE_VOLTS, RM_OHMS, SENSE_SERIES_OHMS,
        },
    },
    junction::{self, Junction, Placed},
    network::{Branch, GROUND, Network, Node, Sources},
};
use crate::quantity::{Amps, Celsius, Farads, Ohms, Volts};
use crate::random::Rng;

/// Source node; the ADC's REFP0 pin is tied to it.
pub const SOURCE: Node = 1;
/// Rail force+.
pub const FORCE_PLUS: Node = 2;
/// Rail force-.
pub const FORCE_MINUS: Node = 3;
/// Upper end of Rm, AIN2.
pub const RM_TOP: Node = 4;
/// Lower end of Rm, AIN3.
pub const BIAS: Node = 5;
/// Rail sense+.
pub const SENSE_PLUS: Node = 6;
/// Rail sense-.
pub const SENSE_MINUS: Node = 7;
/// ADC input behind sense+'s protection.
pub const AIN0: Node = 8;
/// ADC input behind sense-'s protection.
pub const AIN1: Node = 9;
/// Nodes of the front end, ground included.
pub const NODES: usize = 10;

/// Resistance of the buffer that makes the bias voltage.
const BUFFER: Ohms = Ohms(0.1);
/// The ADC's current sources lose their accuracy this far under the supply (from memory).
const IDAC_HEADROOM: Volts = Volts(0.9);
/// Tolerance of the ADC's current sources (from memory: 6 % at most, both nearly alike).
const IDAC_TOLERANCE: f64 = 0.06;
/// The most that the ADC's two current sources push together.
const DRY_MOST: Amps = Amps(2e-3);
/// Rm's value is stated at this temperature.
const RM_AT: Celsius = Celsius(25.0);
/// The reversal switch's optocouplers close within this time, µs (the parts list asks for it). The pair in use opens
/// sooner; what passes the unit in the gap between is left out, since the controller samples nothing in it.
const REVERSAL_US: u64 = 250;
/// From this voltage at the USB port on the load source has its full reach …
const USB_FULL: Volts = Volts(5.0);
/// … and below it loses so much of it for each volt: at 4.40 V 41.8 mA go into 5 Ω, which with Rm and contacts is 0.69 V
/// (`hardware/spice/load.cir`).
const REACH_LOST: f64 = 0.52;
/// Inner resistance of a source that has reached its compliance.
const LIMITED: Ohms = Ohms(0.01);

/// The front end and the levels on its control lines.
#[derive(Clone, Debug)]
pub struct FrontEnd {
    /// Load source on.
    pub load_enable: bool,
    /// 18 Ω clamp closed.
    pub dry_clamp: bool,
    /// 180 Ω clamp closed.
    pub isolation_clamp: bool,
    /// Current through the unit reversed.
    reversed: bool,
    /// The reversal switch has been told to take this position, and takes it then, µs.
    turning: Option<(bool, u64)>,
    rm: Ohms,
    bias: Volts,
    load: Amps,
    burnout: Amps,
    /// Real over nominal current of the two sources in the ADC.
    idac: [f64; 2],
    switches: [Ohms; 4],
    /// Into the two sense inputs.
    input: [Amps; 2],
    /// The most the load source puts between its node and the bias node.
    load_reach: Volts,
}

/// The branches of the front end that hold a voltage.
#[derive(Clone, Copy, Debug)]
pub struct Supplies {
    bias: Branch,
    /// The source at its compliance: it now holds this voltage, not its current.
    limit: Option<(Branch, Volts)>,
}

impl FrontEnd {
    /// A front end as built, in this air, its control lines as the pull resistors hold them: the idle clamp closed.
    pub fn new(figures: &Figures, air: Celsius, rng: &mut Rng) -> Self {
        let idac = 1.0 + rng.between(-IDAC_TOLERANCE, IDAC_TOLERANCE);
        let mut front_end = Self {
            load_enable: false,
            dry_clamp: false,
            isolation_clamp: true,
            reversed: false,
            turning: None,
            rm: Ohms(RM_OHMS) * (1.0 + figures.rm.draw(rng)),
            bias: Volts(BIAS_VOLTS) * (1.0 + rng.between(-0.01, 0.01)),
            load: Amps(LOAD_AMPS) * (1.0 + rng.between(-0.03, 0.03)),
            burnout: Amps(BURNOUT_AMPS) * (1.0 + rng.between(-0.05, 0.05)),
            idac: [idac, idac * (1.0 + 0.003 * rng.normal())],
            switches: std::array::from_fn(|_| Ohms(rng.between(0.4, 0.6))),
            input: [Amps::ZERO; 2],
            load_reach: Volts::ZERO,
        };
        let since_bought = figures.rm_drift.draw(rng) * (air.0 - RM_AT.0) + figures.rm_ageing.draw(rng);
        front_end.rm = front_end.rm * (1.0 + since_bought);
        front_end.input = std::array::from_fn(|_| Amps(figures.input_amps.draw(rng)));
        front_end.set_usb(Volts(figures.usb_volts.draw(rng)));
        front_end
    }

    /// Makes Rm stand off its nominal value by this, relative.
    pub fn set_rm(&mut self, off: f64) {
        self.rm = Ohms(RM_OHMS) * (1.0 + off);
    }

    /// Supplies the bench with this voltage at its USB port.
    pub fn set_usb(&mut self, usb: Volts) {
        let missing = (USB_FULL - usb).max(Volts::ZERO);
        self.load_reach = (Volts(LOAD_COMPLIANCE_VOLTS) - REACH_LOST * missing).max(Volts::ZERO);
    }

    /// Tells the reversal switch which way the current is to run.
    pub fn turn(&mut self, reversed: bool, now_us: u64) {
        let goal = self.turning.map_or(self.reversed, |(goal, _)| goal);
        if reversed != goal {
            self.turning = (reversed != self.reversed).then_some((reversed, now_us + REVERSAL_US));
        }
    }

    /// When the reversal switch, told to turn, will have turned.
    pub fn turns_at(&self) -> Option<u64> {
        self.turning.map(|(_, at_us)| at_us)
    }

    /// Lets the reversal switch turn if it is due. Returns whether it did.
    pub fn turn_over(&mut self, now_us: u64) -> bool {
        match self.turning {
            Some((reversed, at_us)) if at_us <= now_us => {
                (self.reversed, self.turning) = (reversed, None);
                true
            }
            _ => false,
        }
    }

    /// Adds the front end to a network. `limited`: the source has reached its compliance.
    pub fn connect(&self, network: &mut Network, limited: bool) -> Supplies {
        let [a, b, c, d] = self.switches;
        if self.reversed {
            network.resistor(SOURCE, FORCE_MINUS, a);
            network.resistor(FORCE_PLUS, RM_TOP, b);
        } else {
            network.resistor(SOURCE, FORCE_PLUS, c);
            network.resistor(FORCE_MINUS, RM_TOP, d);
        }
        network.resistor(RM_TOP, BIAS, self.rm);
        if self.dry_clamp {
            network.resistor(SOURCE, BIAS, Ohms(DRY_CLAMP_OHMS));
        }
        if self.isolation_clamp {
            network.resistor(SOURCE, BIAS, Ohms(ISOLATION_CLAMP_OHMS));
        }
        network.resistor(SENSE_PLUS, AIN0, Ohms(SENSE_SERIES_OHMS));
        network.resistor(SENSE_MINUS, AIN1, Ohms(SENSE_SERIES_OHMS));
        let bias = network.resistor(BIAS, GROUND, BUFFER);
        let limit = limited.then(|| {
            let (above, voltage) = self.compliance();
            (network.resistor(SOURCE, above, LIMITED), voltage)
        });
        Supplies { bias, limit }
    }

    /// The most that the sources can push, and from where it goes back when the node above which they cannot lift theirs is that far
    /// below: for networks in which a current may not change at once.
    pub fn compliance_junction(&self) -> Placed {
        let (above, voltage) = self.compliance();
        let current = if self.load_enable { self.load } else { DRY_MOST };
        let against = voltage - Junction::COMPLIANCE.voltage(current);
        Placed { between: [SOURCE, above], junction: Junction::COMPLIANCE, against }
    }

    /// R56 and C14 across the force buses, which keep the load source still on an inductive unit.
    pub fn damper() -> Capacitor {
        Capacitor {
            between: [FORCE_PLUS, FORCE_MINUS],
            capacitance: Farads(DAMPER_FARADS),
            series: Ohms(DAMPER_OHMS),
            voltage: Volts::ZERO,
        }
    }

    /// D15, through which an inductive unit's current goes on when the source stops: added to a network, its junction given.
    pub fn freewheel(network: &mut Network) -> Placed {
        let anode = network.node();
        network.resistor(BIAS, anode, Ohms(FREEWHEEL_OHMS));
        network.resistor(anode, SOURCE, junction::BESIDE);
        Placed { between: [anode, SOURCE], junction: Junction::FREEWHEEL, against: Volts::ZERO }
    }

    /// Adds what drives the circuit at this moment.
    pub fn drive(&self, supplies: &Supplies, adc: &Adc, now_us: u64, sources: &mut Sources) {
        sources.force(supplies.bias, self.bias);
        match supplies.limit {
            Some((branch, voltage)) => sources.force(branch, voltage),
            None => sources.current(SOURCE, self.excitation(adc, now_us)),
        }
        for (pin, current) in self.idac_currents(adc, now_us).filter(|(pin, _)| *pin != AdcPin::Refp0) {
            if let Some(node) = node(pin) {
                sources.current(node, current);
            }
        }
        for (node, current) in [AIN0, AIN1].into_iter().zip(self.input) {
            if current != Amps::ZERO {
                sources.current(node, -current);
            }
        }
        if let Some((plus, minus)) = adc.burnout() {
            for (pin, current) in [(plus, self.burnout), (minus, -self.burnout)] {
                if let Some(node) = node(pin) {
                    sources.current(node, current);
                }
            }
        }
    }

    /// Current the sources push into the source node while nothing limits them.
    pub fn excitation(&self, adc: &Adc, now_us: u64) -> Amps {
        let idac: Amps = self
            .idac_currents(adc, now_us)
            .filter(|(pin, _)| *pin == AdcPin::Refp0)
            .map(|(_, current)| current)
            .sum();
        idac + if self.load_enable { self.load } else { Amps::ZERO }
    }

    /// Whether the source is now limited by its compliance, given the voltages with `limited` as it was.
    pub fn is_limited(&self, limited: bool, current: Amps, at: &[Volts]) -> bool {
        let (above, voltage) = self.compliance();
        let over = at[SOURCE] - at[above] - voltage;
        current > Amps::ZERO && if limited { -over / LIMITED < current } else { over > Volts::ZERO }
    }

    /// The node above which the source in use cannot lift its own, and by how much.
    fn compliance(&self) -> (Node, Volts) {
        if self.load_enable { (BIAS, self.load_reach) } else { (GROUND, AVDD - IDAC_HEADROOM) }
    }

    fn idac_currents(&self, adc: &Adc, now_us: u64) -> impl Iterator<Item = (AdcPin, Amps)> {
        let [first, second] = adc.excitation(now_us);
        [(first, self.idac[0]), (second, self.idac[1])]
            .into_iter()
            .filter_map(|(source, real)| source.map(|(pin, nominal)| (pin, nominal * real)))
    }
}

/// Voltage at a pin of the ADC.
pub fn voltage(pin: AdcPin, at: &[Volts]) -> Volts {
    match (pin, node(pin)) {
        (AdcPin::Avdd, _) => AVDD,
        (AdcPin::Middle, _) => AVDD / 2.0,
        (_, node) => node.map_or(Volts::ZERO, |node| at[node]),
    }
}

/// The node a pin of the ADC is wired to; `None` for what lies inside the chip.
fn node(pin: AdcPin) -> Option<Node> {
    match pin {
        AdcPin::Ain0 => Some(AIN0),
        AdcPin::Ain1 => Some(AIN1),
        AdcPin::Ain2 => Some(RM_TOP),
        AdcPin::Ain3 => Some(BIAS),
        AdcPin::Refp0 => Some(SOURCE),
        AdcPin::Refn0 | AdcPin::Avss => Some(GROUND),
        AdcPin::Avdd | AdcPin::Middle => None,
    }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::hardware::wait;

    use super::*;

    /// Voltages with this resistance between the force rails, the ADC set up by these registers.
    fn at(front_end: &FrontEnd, registers: [u8; 4], ohms: f64, limited: bool) -> (Vec<Volts>, Amps) {
        let mut adc = Adc::new(&mut Rng::new(1));
        adc.select();
        for byte in [0x43].into_iter().chain(registers) {
            adc.exchange(byte, 1_000);
        }
        let mut network = Network::new(NODES);
        let supplies = front_end.connect(&mut network, limited);
        network.resistor(FORCE_PLUS, FORCE_MINUS, Ohms(ohms));
        let mut sources = Sources::default();
        front_end.drive(&supplies, &adc, 2_000, &mut sources);
        (network.factor().solve(&sources), front_end.excitation(&adc, 2_000))
    }

    const IDAC_ON: [u8; 4] = [0, 0, 0x06, 0xA0];

    /// IEC 60512-2-1 test 2a: at most 20 mV open-circuit in the dry range, whatever the part's tolerance.
    #[test]
    fn the_dry_range_stays_under_twenty_millivolts_open() {
        for seed in 0..50 {
            let mut front_end = FrontEnd::new(&Figures::USUAL, RM_AT, &mut Rng::new(seed));
            (front_end.dry_clamp, front_end.isolation_clamp) = (true, false);
            let (open, _) = at(&front_end, IDAC_ON, 1e12, false);
            let Volts(volts) = open[FORCE_PLUS] - open[FORCE_MINUS];
            assert!((16e-3..20e-3).contains(&volts), "{volts}");
        }
    }

    #[test]
    fn reversal_turns_the_unit_and_not_the_measuring_resistor() {
        let mut front_end = FrontEnd::new(&Figures::USUAL, RM_AT, &mut Rng::new(1));
        (front_end.dry_clamp, front_end.isolation_clamp) = (true, false);
        let (forward, _) = at(&front_end, IDAC_ON, 1.0, false);
        front_end.turn(true, 1_000);
        assert!(!front_end.turn_over(1_249) && front_end.turn_over(1_250));
        let (reversed, _) = at(&front_end, IDAC_ON, 1.0, false);
        assert!(forward[FORCE_PLUS] > forward[FORCE_MINUS] && reversed[FORCE_PLUS] < reversed[FORCE_MINUS]);
        assert!(forward[RM_TOP] > forward[BIAS] && reversed[RM_TOP] > reversed[BIAS]);
    }

    #[test]
    fn the_reversal_switch_is_slow_and_may_change_its_mind() {
        let mut front_end = FrontEnd::new(&Figures::USUAL, RM_AT, &mut Rng::new(1));
        front_end.turn(true, 0);
        front_end.turn(true, 100);
        assert_eq!(front_end.turns_at(), Some(250), "told twice");
        front_end.turn(false, 200);
        assert_eq!(front_end.turns_at(), None, "back before it moved");
        assert!(u64::from(wait::REVERSE_US) >= REVERSAL_US);
    }

    /// `hardware/spice/load.cir` at 4.40 V of USB: 41.8 mA into 5 Ω, pins and relays besides.
    #[test]
    fn a_weak_usb_port_leaves_the_load_source_less_reach() {
        let mut front_end = FrontEnd::new(&Figures::USUAL, RM_AT, &mut Rng::new(1));
        (front_end.load_enable, front_end.isolation_clamp) = (true, false);
        for (usb, limited, milliamps) in [(5.25, false, 50.0), (5.0, false, 50.0), (4.4, true, 41.8)] {
            front_end.set_usb(Volts(usb));
            let (at, current) = at(&front_end, [0; 4], 5.5, limited);
            assert_eq!(front_end.is_limited(limited, current, &at), limited, "{usb} V");
            let flows = 1e3 * ((at[RM_TOP] - at[BIAS]) / Ohms(RM_OHMS)).0;
            assert!((flows / milliamps - 1.0).abs() < 0.04, "{usb} V: {flows} mA");
        }
    }

    #[test]
    fn sources_stop_at_their_compliance() {
        let mut front_end = FrontEnd::new(&Figures::USUAL, RM_AT, &mut Rng::new(1));
        (front_end.load_enable, front_end.isolation_clamp) = (true, false);
        let (short, current) = at(&front_end, [0; 4], 1.0, false);
        assert!(!front_end.is_limited(false, current, &short), "1 Ω leaves the source its current");
        let (open, current) = at(&front_end, [0; 4], 1e9, false);
        assert!(front_end.is_limited(false, current, &open), "an open circuit does not");
        let (open, current) = at(&front_end, [0; 4], 1e9, true);
        assert!(front_end.is_limited(true, current, &open));
        assert!((open[SOURCE].0 - open[BIAS].0 - LOAD_COMPLIANCE_VOLTS).abs() < 1e-6);
        let (short, current) = at(&front_end, [0; 4], 1.0, true);
        assert!(!front_end.is_limited(true, current, &short), "and back");
    }
}
