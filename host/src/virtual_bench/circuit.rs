//! The one electrical network of bench and unit, for one position of every contact.

use super::{
    capacitor::{Capacitor, Relaxation},
    front_end::{self, FORCE_MINUS, FORCE_PLUS, FrontEnd, SENSE_MINUS, SENSE_PLUS, Supplies},
    network::{Branch, Factored, Network, Node, Sources},
    relay::Relay,
    unit::Unit,
};
use copperwalk_wire::hardware::BLEED_OHMS;

/// Isolation between a sense or force rail and the bias rail, ohm: some 10¹¹ to 10¹² Ω of every open contact on it,
/// taken together.
const RAIL_LEAK_OHMS: f64 = 1e10;

/// The bed of pins and the matrix, in their own numbering: force channels first, then sense channels.
#[derive(Clone, Debug)]
pub struct Bed {
    /// Force channels.
    pub force_channels: usize,
    /// Contact resistance of every pin, ohm.
    pub pin_ohms: Vec<f64>,
    /// The node every pin touches, if the channel has one.
    pub touches: Vec<Option<Node>>,
    /// Check standards: their nodes and their real ohms.
    pub standards: Vec<([Node; 2], f64)>,
    /// Nodes before the first that a closed channel adds.
    pub nodes: usize,
}

/// Node of the unit's point 0.
pub const FIRST_POINT: Node = front_end::NODES;

impl Bed {
    /// Bit of the bleed relay: the last one.
    pub fn bleed_relay(&self) -> usize {
        2 * self.pin_ohms.len()
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
    battery: Option<(Branch, f64)>,
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
        for rail in [FORCE_PLUS, FORCE_MINUS, SENSE_PLUS, SENSE_MINUS] {
            network.resistor(rail, front_end::BIAS, RAIL_LEAK_OHMS);
        }
        let (battery, branches) = unit.connect(&mut network, FIRST_POINT);
        for &([a, b], ohms) in &bed.standards {
            network.resistor(a, b, ohms);
        }
        let mut closed_relays = Vec::new();
        for (pin, (&ohms, &touches)) in bed.pin_ohms.iter().zip(&bed.touches).enumerate() {
            let rails =
                if pin < bed.force_channels { [FORCE_PLUS, FORCE_MINUS] } else { [SENSE_PLUS, SENSE_MINUS] };
            let relay = 2 * pin;
            if !closed[relay] && !closed[relay + 1] {
                continue;
            }
            let channel = network.node();
            if let Some(node) = touches {
                network.resistor(channel, node, ohms);
            }
            for (relay, rail) in [relay, relay + 1].into_iter().zip(rails) {
                if closed[relay] {
                    closed_relays.push((network.resistor(rail, channel, relays[relay].ohms), relay));
                }
            }
        }
        if closed[bed.bleed_relay()] {
            network.resistor(FORCE_PLUS, FORCE_MINUS, BLEED_OHMS);
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
            sources.force(branch, relays[relay].thermal_volts(now_us));
        }
        if let Some((branch, volts)) = self.battery {
            sources.force(branch, volts);
        }
        sources
    }

    /// Mean node voltages over the next `micros`, after which the capacitors have their new charge.
    pub fn pass(&self, sources: &Sources, micros: u64, capacitors: &mut [Capacitor]) -> Vec<f64> {
        let mut at = self.factored.solve(sources);
        if let Some(relaxation) = &self.relaxation {
            relaxation.pass(micros as f64 * 1e-6, &mut at, capacitors);
        }
        at
    }

    /// Node voltages at this moment, with the sources that stand for the capacitors' charges added to `sources`.
    pub fn hold(&self, sources: &mut Sources, capacitors: &[Capacitor]) -> Vec<f64> {
        for (&branch, capacitor) in self.capacitors.iter().zip(capacitors) {
            sources.force(branch, capacitor.volts);
        }
        self.factored.solve(sources)
    }
}
