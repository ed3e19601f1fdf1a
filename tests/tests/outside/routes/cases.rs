//! Random boards with keep-outs, the same from the same number.

use copperwalk::board::{Face, KeepOut, Side};
use copperwalk::route::{End, Hole, Task, Wire};

/// Numbers that look random (SplitMix64).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5851_f42d_4c95_7f2d)
    }

    /// From 0 to 1.
    pub fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    pub fn below(&mut self, count: usize) -> usize {
        ((self.share() * count as f64) as usize).min(count - 1)
    }
}

/// How a random case is drawn.
#[derive(Clone, Copy)]
pub struct Draw {
    pub keep_outs: usize,
    pub board: [f64; 2],
    /// Farthest corner of a keep-out from its middle, mm.
    pub size: [f64; 2],
    /// Bends wider than the clearance asks for.
    pub stiff: bool,
    pub holes: usize,
}

impl Draw {
    /// A small board.
    pub const SMALL: Self =
        Self { keep_outs: 6, board: [50.0, 36.0], size: [2.0, 8.0], stiff: false, holes: 0 };

    /// A case by its number.
    pub fn case(self, seed: u64) -> Task {
        let mut dice = Dice::new(seed);
        let [width, height] = self.board;
        let mut outline = vec![[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]];
        if dice.below(3) == 0 {
            // A corner is cut out.
            let [x, y] = [width * dice.between(0.4, 0.8), height * dice.between(0.3, 0.7)];
            outline = vec![[0.0, 0.0], [width, 0.0], [width, y], [x, y], [x, height], [0.0, height]];
        }
        let one_face = self.holes == 0;
        let keep_outs = (0..self.keep_outs)
            .map(|_| {
                let at = [dice.between(0.0, width), dice.between(0.0, height)];
                let side = if one_face || dice.below(2) == 0 { Face::Front } else { Face::Back };
                let polygon = blob(&mut dice, at, self.size);
                KeepOut { side, polygon, height_mm: None, why: String::new() }
            })
            .collect();
        let insulated_mm = dice.between(0.3, 1.6);
        let clearance_mm = dice.between(0.2, 0.8);
        let reach = insulated_mm / 2.0 + clearance_mm;
        let bend_mm = if self.stiff { reach * dice.between(1.0, 5.0) } else { reach * dice.share() };
        let wire = Wire {
            insulated_mm,
            conductor_mm: insulated_mm * 0.5,
            bend_mm,
            clearance_mm,
            edge_mm: if self.stiff { clearance_mm } else { dice.between(bend_mm, bend_mm + 0.5) },
            relief_mm: dice.between(8.0, 30.0),
            slack_share: 0.05,
            slack_mm: 1.0,
        };
        let mut end = |name: &str, left: bool| {
            let x = if left { dice.between(0.08, 0.35) } else { dice.between(0.65, 0.92) };
            let side = match (one_face, dice.below(3)) {
                (true, _) | (_, 0) => Side::Front,
                (_, 1) => Side::Back,
                _ => Side::Both,
            };
            End { name: name.into(), at: [x * width, dice.between(0.1, 0.9) * height], side, pad_mm: None }
        };
        let (from, to) = (end("from", true), end("to", false));
        let holes = (0..self.holes)
            .map(|number| Hole {
                name: format!("hole {number}"),
                at: [dice.between(0.1, 0.9) * width, dice.between(0.1, 0.9) * height],
                drill_mm: dice.between(1.2, 3.0),
            })
            .collect();
        let passage_mm = dice.between(0.0, 20.0);
        Task { outline, keep_outs, thickness_mm: 1.6, wire, from, to, holes, passage_mm }
    }
}

/// A polygon that does not cross itself: corners at growing angles round a middle.
fn blob(dice: &mut Dice, [x, y]: [f64; 2], [least, most]: [f64; 2]) -> Vec<[f64; 2]> {
    let corners = 3 + dice.below(5);
    let turn = dice.between(0.0, std::f64::consts::TAU);
    (0..corners)
        .map(|corner| {
            let part = (corner as f64 + dice.between(0.0, 0.7)) / corners as f64;
            let (sin, cos) = (turn + part * std::f64::consts::TAU).sin_cos();
            let radius = dice.between(least, most);
            [x + radius * cos, y + radius * sin]
        })
        .collect()
}
