//! The one electrical network of bench and unit, for one position of every contact.

use super::{
    capacitor::{Capacitor, Relaxation},
    figures::circuit::BLEED_OHMS,
    front_end::{self, FORCE_MINUS, FORCE_PLUS, FrontEnd, SENSE_MINUS, SENSE_PLUS, Supplies},
    network::{Branch, Factored, Network, Node, Sources},
    relay::Relay,
    unit::Unit,
};
use crate::quantity::{Ohms, Seconds, Volts};

/// The bed of pins and the matrix, in their own numbering: force channels first, then sense channels.
#[derive(Clone, Debug)]
pub struct Bed {
    /// Force channels.
    pub force_channels: usize,
    /// Contact resistance of every pin.
    pub pins: Vec<Ohms>,
    /// The node every pin touches, if the channel has one.
    pub touches: Vec<Option<Node>>,
    /// Pairs of pins whose tips touch each other.
    pub touching: Vec<[usize; 2]>,
    /// Does the unit lie on the pins?
    pub unit_lies: bool,
    /// Leakage from the rails force+, force-, sense+ and sense- to the bias node: every open contact on it, taken together.
    pub rails: [Ohms; 4],
    /// Sense pins that stand off their points.
    pub displaced: Vec<Displaced>,
    /// Check standards: their nodes and their real resistances.
    pub standards: Vec<([Node; 2], Ohms)>,
    /// Thermometers: their nodes and their real resistances.
    pub thermometers: Vec<([Node; 2], Ohms)>,
    /// Nodes before the first that a closed channel adds.
    pub nodes: usize,
}

/// A sense pin that stands beside its point, somewhat along a segment.
#[derive(Clone, Copy, Debug)]
pub struct Displaced {
    /// The node it touches.
    pub node: Node,
    /// The point it belongs to.
    pub point: usize,
    /// The segment it stands on.
    pub segment: usize,
    /// So much of the segment lies between point and pin.
    pub skipped: Ohms,
}

/// Resistance between the tips of two pins that touch each other: as much as a pin has on its pad.
const TIPS: Ohms = Ohms(0.1);

/// Node of the unit's point 0.
pub const FIRST_POINT: Node = front_end::NODES;

impl Bed {
    /// Bit of the bleed relay: the last one.
    pub fn bleed_relay(&self) -> usize {
        2 * self.pins.len()
    }
}

/// The network while nothing switches.
#[derive(Clone, Debug)]
pub struct Circuit {
    /// The network, ready to be solved.
    pub factored: Factored,
    /// Closed relays, for their thermal voltages.
    relays: Vec<(Branch, usize)>,
    supplies: Supplies,
    battery: Option<(Branch, Volts)>,
    capacitors: Vec<Branch>,
    relaxation: Option<Relaxation>,
}

impl Circuit {
    /// Puts the network together. `closed`: the contacts of the relays. `limited`: the source is at its compliance.
    pub fn new(
        front_end: &FrontEnd,
        relays: &[Relay],
        closed: &[bool],
        bed: &Bed,
        unit: &Unit,
        capacitors: &[Capacitor],
        limited: bool,
    ) -> Self {
        let mut network = Network::new(bed.nodes);
        let supplies = front_end.connect(&mut network, limited);
        for (rail, leak) in [FORCE_PLUS, FORCE_MINUS, SENSE_PLUS, SENSE_MINUS].into_iter().zip(bed.rails) {
            network.resistor(rail, front_end::BIAS, leak);
        }
        let (battery, branches) = match bed.unit_lies {
            true => unit.connect(&mut network, FIRST_POINT, &bed.displaced),
            false => (None, Vec::new()),
        };
        for &([a, b], resistance) in bed.standards.iter().chain(&bed.thermometers) {
            network.resistor(a, b, resistance);
        }
        // A tip that touches another is there whether or not its relays are closed.
        let mut tips = vec![None; bed.pins.len()];
        for &pair in &bed.touching {
            let nodes = pair.map(|pin| *tips[pin].get_or_insert_with(|| network.node()));
            network.resistor(nodes[0], nodes[1], TIPS);
        }
        for (pin, tip) in tips.iter().enumerate() {
            if let (&Some(tip), Some(node)) = (tip, bed.touches[pin]) {
                network.resistor(tip, node, bed.pins[pin]);
            }
        }
        let mut closed_relays = Vec::new();
        for (pin, (&contact, &touches)) in bed.pins.iter().zip(&bed.touches).enumerate() {
            let rails =
                if pin < bed.force_channels { [FORCE_PLUS, FORCE_MINUS] } else { [SENSE_PLUS, SENSE_MINUS] };
            let relay = 2 * pin;
            if !closed[relay] && !closed[relay + 1] {
                continue;
            }
            let channel = tips[pin].unwrap_or_else(|| network.node());
            if let (Some(node), None) = (touches, tips[pin]) {
                network.resistor(channel, node, contact);
            }
            for (relay, rail) in [relay, relay + 1].into_iter().zip(rails) {
                if closed[relay] {
                    closed_relays.push((network.resistor(rail, channel, relays[relay].resistance()), relay));
                }
            }
        }
        if closed[bed.bleed_relay()] {
            network.resistor(FORCE_PLUS, FORCE_MINUS, Ohms(BLEED_OHMS));
        }
        let factored = network.factor();
        let relaxation = (!branches.is_empty()).then(|| Relaxation::new(&factored, &branches, capacitors));
        Self { factored, relays: closed_relays, supplies, battery, capacitors: branches, relaxation }
    }

    /// What drives the network at this moment, the capacitors' charges left out.
    pub fn sources(
        &self,
        front_end: &FrontEnd,
        relays: &[Relay],
        adc: &super::adc::Adc,
        now_us: u64,
    ) -> Sources {
        let mut sources = Sources::default();
        front_end.drive(&self.supplies, adc, now_us, &mut sources);
        for &(branch, relay) in &self.relays {
            sources.force(branch, relays[relay].thermal_voltage(now_us));
        }
        if let Some((branch, voltage)) = self.battery {
            sources.force(branch, voltage);
        }
        sources
    }

    /// Mean node voltages over the next `micros`, after which the capacitors have their new charge.
    pub fn pass(&self, sources: &Sources, micros: u64, capacitors: &mut [Capacitor]) -> Vec<Volts> {
        let mut at = self.factored.solve(sources);
        if let Some(relaxation) = &self.relaxation {
            relaxation.pass(Seconds(micros as f64 * 1e-6), &mut at, capacitors);
        }
        at
    }

    /// Node voltages at this moment, with the sources that stand for the capacitors' charges added to `sources`.
    pub fn hold(&self, sources: &mut Sources, capacitors: &[Capacitor]) -> Vec<Volts> {
        for (&branch, capacitor) in self.capacitors.iter().zip(capacitors) {
            sources.force(branch, capacitor.voltage);
        }
        self.factored.solve(sources)
    }
}
