//! The one electrical network of bench and unit, for one position of every contact.

use super::{
    capacitor::Relaxation,
    figures::circuit::BLEED_OHMS,
    front_end::{self, FORCE_MINUS, FORCE_PLUS, FrontEnd, SENSE_MINUS, SENSE_PLUS, Supplies},
    network::{Branch, Factored, Network, Node, Sources},
    relay::Relay,
    transient::{Charges, Transient},
    unit::{Connected, Unit},
};
use crate::quantity::{Amps, Ohms, Seconds, Volts};

/// The bed of pins and the matrix, in their own numbering: force channels first, then sense channels.
#[derive(Clone, Debug)]
pub struct Bed {
    /// Force channels.
    pub force_channels: usize,
    /// By channel, the pin that its lead goes to: its own, unless two leads were exchanged.
    pub leads: Vec<usize>,
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
    motion: Motion,
}

/// How what is charged changes over time.
#[derive(Clone, Debug)]
enum Motion {
    /// Nothing is.
    Still,
    /// Capacitors among resistors: they relax.
    Relaxes(Relaxation),
    /// With inductances or junctions.
    Swings(Transient),
}

impl Circuit {
    /// Puts the network together. `closed`: the contacts of the relays. `limited`: the source is at its compliance.
    pub fn new(
        front_end: &FrontEnd,
        relays: &[Relay],
        closed: &[bool],
        bed: &Bed,
        unit: &Unit,
        charges: &Charges,
        limited: bool,
    ) -> Self {
        let mut network = Network::new(bed.nodes);
        let supplies = front_end.connect(&mut network, limited);
        for (rail, leak) in [FORCE_PLUS, FORCE_MINUS, SENSE_PLUS, SENSE_MINUS].into_iter().zip(bed.rails) {
            network.resistor(rail, front_end::BIAS, leak);
        }
        let Connected { battery, mut capacitors, inductances, mut junctions } = match bed.unit_lies {
            true => unit.connect(&mut network, FIRST_POINT, &bed.displaced),
            false => Connected::default(),
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
        for (at, &pin) in bed.leads.iter().enumerate() {
            let (contact, touches) = (bed.pins[pin], bed.touches[pin]);
            let rails =
                if at < bed.force_channels { [FORCE_PLUS, FORCE_MINUS] } else { [SENSE_PLUS, SENSE_MINUS] };
            let relay = 2 * at;
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
        if !inductances.is_empty() {
            let damper = FrontEnd::damper();
            capacitors.push(network.resistor(damper.between[0], damper.between[1], damper.series));
            junctions.push(FrontEnd::freewheel(&mut network));
        }
        let swings = bed.unit_lies && unit.swings();
        if swings {
            junctions.push(front_end.compliance_junction());
        }
        let factored = network.factor();
        let motion = if swings {
            Motion::Swings(Transient::new(
                &factored,
                &capacitors,
                &charges.capacitors,
                inductances,
                junctions,
            ))
        } else if capacitors.is_empty() {
            Motion::Still
        } else {
            Motion::Relaxes(Relaxation::new(&factored, &capacitors, &charges.capacitors))
        };
        Self { factored, relays: closed_relays, supplies, battery, capacitors, motion }
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

    /// Mean node voltages over the next `micros`, after which capacitors and inductances are as they are then.
    pub fn pass(&self, sources: &Sources, micros: u64, charges: &mut Charges) -> Vec<Volts> {
        let mut at = self.factored.solve(sources);
        let time = Seconds(micros as f64 * 1e-6);
        match &self.motion {
            Motion::Still => {}
            Motion::Relaxes(relaxation) => relaxation.pass(time, &mut at, &mut charges.capacitors),
            Motion::Swings(transient) => transient.pass(time, &mut at, charges),
        }
        at
    }

    /// Node voltages at this moment, with the sources that stand for charges and currents added to `sources`.
    pub fn hold(&self, sources: &mut Sources, charges: &mut Charges) -> Vec<Volts> {
        if let Motion::Swings(transient) = &self.motion {
            let mut at = self.factored.solve(sources);
            let currents = transient.hold(&mut at, charges);
            let coils = transient.inductances().iter().map(|of| of.between);
            let through = coils.chain(transient.junctions().iter().map(|of| of.between));
            for ([from, to], amps) in through.zip(currents) {
                sources.current(from, Amps(-amps.0));
                sources.current(to, amps);
            }
        }
        for (&branch, capacitor) in self.capacitors.iter().zip(&charges.capacitors) {
            sources.force(branch, capacitor.voltage);
        }
        self.factored.solve(sources)
    }

    /// Branches of the capacitors.
    pub fn capacitors(&self) -> &[Branch] {
        &self.capacitors
    }

    /// Inductances and junctions, where there are any: for comparing with another solver.
    pub fn transient(&self) -> Option<&Transient> {
        match &self.motion {
            Motion::Swings(transient) => Some(transient),
            Motion::Still | Motion::Relaxes(_) => None,
        }
    }
}
