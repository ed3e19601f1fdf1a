//! How far a resistance is to be trusted: the budget, and the expanded uncertainty at 95 %.
//!
//! Evaluated per the GUM (JCGM 100). What scatters is type A: the spread of the readings themselves, pooled over a
//! measurement ([`Noise`]), with Student's factor for as many degrees of freedom as they have. The rest is type B,
//! and each part of it is a rectangle, because its source states an edge that is never passed. A rectangle is often the
//! largest part, and then the usual factor 2 would claim too much. So the expanded uncertainty is the exact 95 % half width of
//! "normal plus the largest rectangle" (in the spirit of JCGM 101), the smaller rectangles counted as normal.

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

use crate::{meter::noise::MOST_FACTOR, quantity::Ohms, statistics::rectangle};

/// Stated coverage.
pub const COVERAGE: f64 = 0.95;
/// Half width over standard uncertainty of a normal distribution at that coverage.
const NORMAL_FACTOR: f64 = 1.959_963_984_540_054;

/// The noise of a measurement's readings against the table, from their own spread.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Noise {
    /// Standard deviation over that of the table.
    pub factor: f64,
    /// Degrees of freedom that it is known with.
    pub freedom: f64,
    /// Half width over standard deviation at the stated coverage: Student's for these degrees of freedom.
    coverage_factor: f64,
}

impl Noise {
    /// That of the table, for certain.
    pub const TABLE: Self = Self { factor: 1.0, freedom: f64::INFINITY, coverage_factor: NORMAL_FACTOR };

    /// The most that a converter may have, for certain.
    pub const LOUDEST: Self = Self { factor: MOST_FACTOR, ..Self::TABLE };

    /// The same, its size taken as certain: for a reading whose interval is widened for more than its few degrees of freedom.
    #[must_use]
    pub fn certain(self) -> Self {
        Self { coverage_factor: NORMAL_FACTOR, ..self }
    }

    /// From a sum of squared deviations over the table's variance, with so many degrees of freedom. Without any, the table.
    pub fn pooled(chi_square: f64, freedom: f64) -> Self {
        match StudentsT::new(0.0, 1.0, freedom) {
            Ok(student) if freedom > 0.0 => Self {
                factor: (chi_square / freedom).sqrt(),
                freedom,
                coverage_factor: student.inverse_cdf(0.5 + COVERAGE / 2.0),
            },
            _ => Self::TABLE,
        }
    }
}

/// Contributions to the uncertainty of one resistance.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Budget {
    /// Noise of both pairs: a standard deviation by the table (type A).
    pub noise: Ohms,
    /// How large the noise really is.
    pub spread: Noise,
    /// Standard deviations of noise that a verdict keeps from a limit, because the reading was ended when it looked clear.
    pub looks: f64,
    /// Half widths of the rest (type B).
    pub edges: Edges,
}

/// Half widths of rectangles.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Edges {
    /// Rm.
    pub rm: Ohms,
    /// Gain of pair A against that of pair B.
    pub gain: Ohms,
    /// Nonlinearity of the converter.
    pub linearity: Ohms,
    /// Common mode that turns round with the current.
    pub common_mode: Ohms,
    /// Thermal EMF that is no straight line over a triple.
    pub emf: Ohms,
    /// Hum that the weights of the half-cycles leave.
    pub hum: Ohms,
    /// Leakage.
    pub leakage: Ohms,
    /// Where the sense pins stand on their pads.
    pub placement: Ohms,
    /// Temperature, where a value is referred to 20 °C.
    pub temperature: Ohms,
}

impl Edges {
    fn all(&self) -> [Ohms; 9] {
        let Self { rm, gain, linearity, common_mode, emf, hum, leakage, placement, temperature } = *self;
        [rm, gain, linearity, common_mode, emf, hum, leakage, placement, temperature]
    }

    /// The same for a value scaled by `factor`.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        let Self { rm, gain, linearity, common_mode, emf, hum, leakage, placement, temperature } = *self;
        Self {
            rm: rm * factor,
            gain: gain * factor,
            linearity: linearity * factor,
            common_mode: common_mode * factor,
            emf: emf * factor,
            hum: hum * factor,
            leakage: leakage * factor,
            placement: placement * factor,
            temperature: temperature * factor,
        }
    }
}

impl Edges {
    /// Of the sum of two: see [`Budget::in_series`].
    fn in_series(&self, other: &Self) -> Self {
        let apart = |edge: fn(&Self) -> Ohms| Ohms(rectangle::of_sum(edge(self).0, edge(other).0));
        Self {
            rm: self.rm + other.rm,
            gain: self.gain + other.gain,
            linearity: apart(|edges| edges.linearity),
            common_mode: apart(|edges| edges.common_mode),
            emf: apart(|edges| edges.emf),
            hum: apart(|edges| edges.hum),
            leakage: apart(|edges| edges.leakage),
            placement: apart(|edges| edges.placement),
            temperature: self.temperature + other.temperature,
        }
    }
}

impl Budget {
    /// Noise alone, known for certain.
    pub fn of_noise(noise: Ohms) -> Self {
        Self { noise, spread: Noise::TABLE, looks: NORMAL_FACTOR, edges: Edges::default() }
    }

    /// Standard deviation of the noise as it is.
    pub fn scatter(&self) -> Ohms {
        self.noise * self.spread.factor
    }

    /// Combined standard uncertainty: a rectangle's is its half width over √3.
    pub fn standard(&self) -> Ohms {
        let edges = self.edges.all().into_iter().fold(Ohms::ZERO, Ohms::hypot);
        self.scatter().hypot(edges / 3.0_f64.sqrt())
    }

    /// Half width at 95 % as if all were normal and known for certain: the measure of what is far off, not of what is stated.
    pub fn plain(&self) -> Ohms {
        self.standard() * NORMAL_FACTOR
    }

    /// Expanded uncertainty at 95 %: what is stated.
    pub fn expanded(&self) -> Ohms {
        self.half_width(NORMAL_FACTOR)
    }

    /// What a verdict keeps from a limit, so that a value exactly at it passes at most one time in forty, however often the
    /// reading was looked at: see [`looks`](crate::meter::looks).
    pub fn guard(&self) -> Ohms {
        self.half_width(self.looks.max(NORMAL_FACTOR))
    }

    fn half_width(&self, factor: f64) -> Ohms {
        let edges = self.edges.all();
        let (mut largest, mut others) = (Ohms::ZERO, Ohms::ZERO);
        for edge in edges {
            others = others.hypot(largest.min(edge));
            largest = largest.max(edge);
        }
        // Student's distribution as a normal one of the same half width.
        let scatter = self.scatter() * (factor / NORMAL_FACTOR * self.spread.coverage_factor / NORMAL_FACTOR);
        expanded(scatter.hypot(others / 3.0_f64.sqrt()), largest)
    }

    /// The budget of a sum of resistances that one current passes, read one after the other by one bench; `None` for none of them. The
    /// errors of Rm, of the gains and of the temperature are the same in all of them and add up as they are; all else is independent.
    pub fn in_series<'b>(parts: impl IntoIterator<Item = &'b Self>) -> Option<Self> {
        parts.into_iter().copied().reduce(|sum, part| Self {
            noise: sum.noise.hypot(part.noise),
            spread: if part.scatter() > sum.scatter() { part.spread } else { sum.spread },
            looks: sum.looks.max(part.looks),
            edges: sum.edges.in_series(&part.edges),
        })
    }

    /// The same budget for a value scaled by `factor`.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self { noise: self.noise * factor, edges: self.edges.scaled(factor), ..*self }
    }
}

/// Half width U with P(|N + R| ≤ U) = 95 %, N normal with standard deviation `normal`, R uniform in ± `rectangle`.
pub fn expanded(normal: Ohms, rectangle: Ohms) -> Ohms {
    Ohms(half_width(normal.0, rectangle.0))
}

fn half_width(normal: f64, rectangle: f64) -> f64 {
    // Pure cases have closed forms, and the sum's formula divides by both.
    if rectangle <= 1e-6 * normal || rectangle <= 0.0 {
        return NORMAL_FACTOR * normal;
    }
    if normal <= 1e-6 * rectangle {
        return COVERAGE * rectangle;
    }
    // G(z) = ∫Φ = zΦ(z) + φ(z); averaging Φ over the rectangle gives the distribution of the sum.
    let standard = Normal::standard();
    let integral = |z: f64| z * standard.cdf(z) + standard.pdf(z);
    let below = |x: f64| {
        normal / (2.0 * rectangle) * (integral((x + rectangle) / normal) - integral((x - rectangle) / normal))
    };
    let (mut low, mut high) = (0.0, rectangle + 3.0 * normal);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 2.0 * below(middle) - 1.0 < COVERAGE {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_factor_runs_from_the_rectangles_to_the_normals() {
        // GUM (JCGM 100) G.6.5 and 4.3.7: a rectangle's 95 % half width is 0.95 of its edge, a factor of 1.65.
        assert!((half_width(0.0, 1.0) - 0.95).abs() < 1e-12);
        assert!((half_width(0.0, 1.0) / (1.0 / 3.0_f64.sqrt()) - 1.65).abs() < 0.01);
        assert!((half_width(1.0, 0.0) - 1.959_964).abs() < 1e-6);
        // In between it lies under the normal factor of the combined standard uncertainty.
        for (normal, rectangle) in [(1.0, 0.1), (1.0, 1.0), (1.0, 3.0), (0.1, 1.0), (0.01, 1.0)] {
            let combined = f64::hypot(normal, rectangle / 3.0_f64.sqrt());
            let factor = half_width(normal, rectangle) / combined;
            assert!((1.64..=1.961).contains(&factor), "{normal} {rectangle}: {factor}");
        }
    }

    #[test]
    fn the_interval_covers_what_it_says() {
        // Against a direct sum over a fine grid of the rectangle.
        let standard = Normal::standard();
        for (normal, rectangle) in [(1.0, 1.0), (0.3, 1.0), (2.0, 1.0)] {
            let u = half_width(normal, rectangle);
            let steps = 20_000;
            let inside: f64 = (0..steps)
                .map(|i| rectangle * (2.0 * (f64::from(i) + 0.5) / f64::from(steps) - 1.0))
                .map(|r| standard.cdf((u - r) / normal) - standard.cdf((-u - r) / normal))
                .sum::<f64>()
                / f64::from(steps);
            assert!((inside - 0.95).abs() < 1e-6, "{inside}");
        }
    }

    /// Student's factor at 95 %, two-sided, as printed in GUM (JCGM 100) table G.2.
    #[test]
    fn few_readings_take_students_factor() {
        for (freedom, printed) in
            [(1.0, 12.71), (3.0, 3.18), (5.0, 2.57), (10.0, 2.23), (20.0, 2.09), (50.0, 2.01)]
        {
            let budget = Budget { spread: Noise::pooled(freedom, freedom), ..Budget::of_noise(Ohms(1.0)) };
            assert!((budget.expanded().0 - printed).abs() < 0.005, "{freedom}: {}", budget.expanded().0);
        }
        assert_eq!(Noise::pooled(0.0, 0.0), Noise::TABLE);
        assert_eq!(Noise::pooled(16.0, 4.0).factor, 2.0);
    }

    #[test]
    fn the_largest_rectangle_stays_one_and_the_others_add_as_normal_ones() {
        let budget = |edges| Budget { edges, ..Budget::of_noise(Ohms::ZERO) };
        let alone = budget(Edges { rm: Ohms(1.0), ..Edges::default() });
        assert!((alone.expanded().0 - 0.95).abs() < 1e-9);
        // Two equal rectangles make a triangle: its 95 % half width is 2 · (1 − √0.05) = 1.553 edges; GUM 4.3.9.
        let two = budget(Edges { rm: Ohms(1.0), gain: Ohms(1.0), ..Edges::default() });
        assert!((two.expanded().0 / 1.553 - 1.0).abs() < 0.03, "{}", two.expanded().0);
        assert!((two.standard().0 - (2.0_f64 / 3.0).sqrt()).abs() < 1e-12);
    }
}
