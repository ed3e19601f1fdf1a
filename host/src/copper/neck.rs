//! The hottest neck: lines of equal potential are laid through the copper, and of each the part is taken that is narrowest for
//! what flows across it. So a corner, at whose very tip the density has no bound, counts no more than the copper beside it.

use std::collections::BTreeMap;

use super::element::{Element, Local};
use super::held::Sets;
use super::mesh::{Mesh, Nodes};
use super::{Conductor, Neck, ipc2221};
use crate::plane::apart;
use crate::quantity::Amps;

/// Lines between the terminals, evenly spread in potential: most where most is lost.
const LINES: usize = 127;

/// A quadratic triangle in four straight ones.
const QUARTERS: [[usize; 3]; 4] = [[0, 5, 4], [5, 1, 3], [4, 3, 2], [3, 4, 5]];

/// A stretch of a line within a quarter: its ends by the pair of places they lie between, its middle, length and current.
struct Stretch {
    ends: [(usize, usize); 2],
    middle: [f64; 2],
    length_mm: f64,
    share: f64,
    layer: usize,
}

/// Finds it, given the potential from 1 to 0 and the conductance.
pub(super) fn hottest(
    conductor: &Conductor,
    mesh: &Mesh,
    nodes: &Nodes,
    potential: &[Local],
    conductance: f64,
    current: Amps,
) -> Option<Neck> {
    let mut lines: Vec<Vec<Stretch>> = (0..LINES).map(|_| Vec::new()).collect();
    for ((triangle, of), values) in mesh.triangles.iter().zip(&nodes.of).zip(potential) {
        let sheet = conductor.layers[triangle.layer].sheet.0;
        for quarter in QUARTERS {
            let (places, values) = (quarter.map(|i| nodes.places[of[i]]), quarter.map(|i| values[i]));
            let element = Element::new(places);
            let [x, y] = element.slope(values);
            let density = x.hypot(y) / (sheet * conductance);
            let least = values.iter().copied().fold(f64::INFINITY, f64::min);
            let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let first = (least * (LINES + 1) as f64).ceil().max(1.0) as usize;
            for line in first..=LINES {
                let level = line as f64 / (LINES + 1) as f64;
                if level >= most {
                    break;
                }
                let ends: Vec<_> =
                    (0..3).filter_map(|i| cut(i, quarter, of, values, places, level)).collect();
                if let [(one, a), (other, b)] = ends[..] {
                    let length_mm = apart(a, b);
                    lines[line - 1].push(Stretch {
                        ends: [one, other],
                        middle: [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0],
                        length_mm,
                        share: density * length_mm,
                        layer: triangle.layer,
                    });
                }
            }
        }
    }
    let necks = lines.iter().flat_map(|line| parts(line)).map(|part| {
        let layer = part[0].layer;
        let width_mm: f64 = part.iter().map(|stretch| stretch.length_mm).sum();
        let share: f64 = part.iter().map(|stretch| stretch.share).sum();
        let mean =
            [0, 1].map(|axis| part.iter().map(|s| s.middle[axis] * s.length_mm).sum::<f64>() / width_mm);
        let nearest = part.iter().min_by(|a, b| apart(a.middle, mean).total_cmp(&apart(b.middle, mean)));
        let copper = &conductor.layers[layer];
        Neck {
            layer,
            at: nearest.map_or(mean, |stretch| stretch.middle),
            width_mm,
            share: share.min(1.0),
            rise_kelvin: ipc2221::rise_kelvin(width_mm, copper.copper_um, copper.outer, current * share),
        }
    });
    necks.filter(|neck| neck.rise_kelvin.is_finite()).max_by(|a, b| a.rise_kelvin.total_cmp(&b.rise_kelvin))
}

/// Where a level cuts a side of a quarter: between which places, and at which point. A corner counts as above.
fn cut(
    side: usize,
    quarter: [usize; 3],
    of: &[usize; 6],
    values: [f64; 3],
    places: [[f64; 2]; 3],
    level: f64,
) -> Option<((usize, usize), [f64; 2])> {
    let (i, j) = ((side + 1) % 3, (side + 2) % 3);
    if (values[i] >= level) == (values[j] >= level) {
        return None;
    }
    let t = (level - values[i]) / (values[j] - values[i]);
    let at = [0, 1].map(|axis| places[i][axis] + t * (places[j][axis] - places[i][axis]));
    let (a, b) = (of[quarter[i]], of[quarter[j]]);
    Some(((a.min(b), a.max(b)), at))
}

/// The parts of a line that hang together.
fn parts(line: &[Stretch]) -> Vec<Vec<&Stretch>> {
    let (mut sets, mut first_at) = (Sets::new(line.len()), BTreeMap::new());
    for (i, stretch) in line.iter().enumerate() {
        for end in stretch.ends {
            let first = *first_at.entry(end).or_insert(i);
            sets.join(i, first);
        }
    }
    let mut parts: BTreeMap<usize, Vec<&Stretch>> = BTreeMap::new();
    for (i, stretch) in line.iter().enumerate() {
        parts.entry(sets.find(i)).or_default().push(stretch);
    }
    parts.into_values().collect()
}
