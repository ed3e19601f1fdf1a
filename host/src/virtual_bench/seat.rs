//! What lies on the pins, and how it is seated: the bed of a fixture with its standards, an empty one, a bare plate, and a unit
//! that is lifted and laid down again.

use super::{
    circuit::{Bed, Displaced, FIRST_POINT},
    figures::{Figures, Spread, platinum_ohms},
    healthy,
};
use crate::{
    fixture::{Fixture, Standard},
    operator::Lying,
    quantity::Ohms,
    random::Rng,
};

/// What every seating draws from.
#[derive(Clone, Debug)]
pub struct Seat {
    /// Contact resistance of every pin, over many seatings.
    contact: Vec<Ohms>,
    /// Share of it that a seating adds or takes.
    scatter: Spread,
    /// Pins whose contact is what somebody made it.
    dirty: Vec<usize>,
    /// How far each point's sense pin stands along the path while the board lies in the middle of its play, mm.
    off_mm: Vec<f64>,
    /// Play of the board on its pins, mm.
    play_mm: Spread,
    rng: Rng,
}

/// The bed of pins for a fixture with a unit on it, its standards inside their tolerance or as their certificates say.
pub fn bed(fixture: &Fixture, figures: &Figures, rng: &mut Rng) -> (Bed, Seat) {
    let force_channels = usize::from(fixture.force_channels);
    let channels = force_channels + usize::from(fixture.sense_channels);
    let first_standard = FIRST_POINT + fixture.board.points.len();
    let mut touches = vec![None; channels];
    let mut standards = Vec::new();
    // Another standard shifts nothing that the rest of the bed draws.
    let mut further = rng.clone().fork();
    for (i, standard) in fixture.standards.iter().enumerate() {
        let nodes = [first_standard + 2 * i, first_standard + 2 * i + 1];
        for (end, &node) in nodes.iter().enumerate() {
            touches[usize::from(standard.force[end])] = Some(node);
            touches[force_channels + usize::from(standard.sense[end])] = Some(node);
        }
        standards.push((nodes, value(standard, if i == 0 { &mut *rng } else { &mut further })));
    }
    let first_thermometer = first_standard + 2 * standards.len();
    let mut thermometers = Vec::new();
    for (i, thermometer) in fixture.thermometers.iter().enumerate() {
        let nodes = [first_thermometer + 2 * i, first_thermometer + 2 * i + 1];
        for (end, &node) in nodes.iter().enumerate() {
            touches[usize::from(thermometer.force[end])] = Some(node);
            touches[force_channels + usize::from(thermometer.sense[end])] = Some(node);
        }
        thermometers.push((nodes, Ohms(platinum_ohms(0.0))));
    }
    let mut bed = Bed {
        force_channels,
        leads: (0..channels).collect(),
        pins: (0..channels).map(|_| Ohms(figures.pin_ohms.draw(rng))).collect(),
        touches,
        touching: Vec::new(),
        unit_lies: true,
        nodes: first_thermometer + 2 * thermometers.len(),
        rails: std::array::from_fn(|_| Ohms(figures.rail_ohms.draw(rng))),
        displaced: Vec::new(),
        standards,
        thermometers,
    };
    let off_mm = fixture.pins.iter().map(|pins| pins.off_mm * figures.pin_off.draw(rng)).collect();
    let seat = Seat {
        contact: bed.pins.clone(),
        scatter: figures.seat_scatter,
        dirty: Vec::new(),
        off_mm,
        play_mm: figures.seat_play_mm,
        rng: rng.fork(),
    };
    seat.put_unit(&mut bed, fixture, 0.0);
    (bed, seat)
}

/// A certificate's uncertainty is that of a normal distribution at k = 2 (GUM, JCGM 100, 6.2).
fn value(standard: &Standard, rng: &mut Rng) -> Ohms {
    match &standard.certificate {
        Some(certificate) => certificate.resistance * (1.0 + certificate.u95 / 2.0 * rng.normal()),
        None => standard.resistance * (1.0 + rng.between(-standard.tolerance, standard.tolerance)),
    }
}

impl Seat {
    /// Makes a pin's contact what somebody made it, however often a board is seated.
    pub fn dirty(&mut self, bed: &mut Bed, pin: usize, contact: Ohms) {
        bed.pins[pin] = contact;
        self.dirty.push(pin);
    }

    /// Puts a point's sense pin so far along the path, mm.
    pub fn displace(&mut self, bed: &mut Bed, fixture: &Fixture, point: usize, mm: f64) {
        self.off_mm[point] = mm;
        displace(bed, fixture, point, mm);
    }

    /// Lays something on the pins, or a unit anew.
    pub fn lay(&mut self, bed: &mut Bed, fixture: &Fixture, lying: Lying) {
        for (pin, &contact) in self.contact.iter().enumerate().filter(|(pin, _)| !self.dirty.contains(pin)) {
            bed.pins[pin] = contact * (1.0 + self.scatter.draw(&mut self.rng));
        }
        let play_mm = self.play_mm.draw(&mut self.rng);
        bed.unit_lies = lying == Lying::Unit;
        match lying {
            Lying::Unit => self.put_unit(bed, fixture, play_mm),
            Lying::Nothing => touch(bed, fixture, |_| None),
            Lying::Plate => touch(bed, fixture, |_| Some(FIRST_POINT)),
        }
    }

    fn put_unit(&self, bed: &mut Bed, fixture: &Fixture, play_mm: f64) {
        touch(bed, fixture, |point| Some(FIRST_POINT + point));
        for (point, off_mm) in self.off_mm.iter().enumerate() {
            displace(bed, fixture, point, off_mm + play_mm);
        }
    }
}

/// Every pin on a point touches the node that its point has.
fn touch(bed: &mut Bed, fixture: &Fixture, node: impl Fn(usize) -> Option<usize>) {
    for (point, pins) in fixture.pins.iter().enumerate() {
        let sense = pins.sense.map(|channel| bed.force_channels + usize::from(channel));
        for pin in pins.force.map(usize::from).into_iter().chain(sense) {
            bed.touches[pin] = node(point);
        }
    }
}

/// Puts a point's sense pin so far along the path, mm: towards the later of its segments where that is above zero.
fn displace(bed: &mut Bed, fixture: &Fixture, point: usize, mm: f64) {
    let board = &fixture.board;
    let Some(channel) = fixture.pins.get(point).and_then(|pins| pins.sense) else { return };
    let mut meeting = (0..board.segments.len()).filter(|&at| {
        [board.segments[at].from, board.segments[at].to].iter().any(|end| end.index() == point)
    });
    let (earlier, later) = (meeting.next(), meeting.next_back());
    // A pin that stood beside its point before keeps its node.
    let before = bed.displaced.iter().position(|pin| pin.point == point);
    let before = before.map(|at| bed.displaced.remove(at).node);
    let place = &mut bed.touches[bed.force_channels + usize::from(channel)];
    *place = Some(FIRST_POINT + point);
    // At an end of the path one of the two ways leads off the copper that carries current.
    let Some(segment) = (if mm > 0.0 { later } else { earlier }).filter(|_| mm != 0.0) else { return };
    let node = before.unwrap_or_else(|| {
        bed.nodes += 1;
        bed.nodes - 1
    });
    *place = Some(node);
    let skipped = healthy::beside(board, &board.segments[segment], mm.abs());
    bed.displaced.push(Displaced { node, point, segment, skipped });
}
