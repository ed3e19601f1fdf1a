//! Where a photo's pixels lie on the board: from marks whose places are known (corners, a ruler, a raster of holes) and from
//! known lengths between two clicks.
//!
//! With four marks in general position, or as much in lengths, the perspective is solved for: a start by the direct linear
//! transformation with normalised coordinates (Hartley, "In defense of the eight-point algorithm", 1997), then least squares of the
//! distances, in pixels, between the clicks and where the map puts their places. With less, the photo is taken as one from straight above, and
//! it is said what is missing.

use nalgebra::{DMatrix, DVector, Matrix3};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::solve::{covariance, least_squares, rank};
use super::{Homography, Seen};
use crate::plane::{apart, turn};

/// Marks, and lengths, at most: nobody clicks more.
pub const MOST_MARKS: usize = 200;
/// Two clicks nearer than this are one place, pixels.
const SAME_PX: f64 = 4.0;
/// Two places nearer than this are one, mm.
const SAME_MM: f64 = 0.05;
/// A triangle that is flatter than this part of its longest side is a line: clicks are not better than that.
const FLAT: f64 = 0.03;
/// A direction that is determined worse than this part of the best is not determined.
const WEAK: f64 = 2e-3;
/// Farthest pixel and place that make sense.
const FAR_PX: f64 = 1e5;
const FAR_MM: f64 = 2000.0;

/// A click whose place on the board is known.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Mark {
    /// Where it was clicked, pixels from the photo's upper left corner.
    pub px: [f64; 2],
    /// Where it lies on the board, mm, seen from the front.
    pub mm: [f64; 2],
}

/// Two clicks whose distance on the board is known.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Length {
    /// The two clicks, pixels.
    pub px: [[f64; 2]; 2],
    /// How far apart they are on the board, mm.
    pub mm: f64,
}

/// What was solved for.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Model {
    /// Scale and direction only: the photo is taken as one from straight above.
    Flat,
    /// The perspective, too.
    Perspective,
}

/// A photo's place on the board.
#[derive(Clone, PartialEq, Debug)]
pub struct Fit {
    /// From pixels to millimetres.
    pub homography: Homography,
    /// What was solved for.
    pub model: Model,
    /// How far each mark, then each length, is from what it should be, mm.
    pub residuals_mm: Vec<f64>,
    /// Equations beyond those needed. With none, the residuals are zero whatever was clicked.
    pub spare: usize,
    /// How far a point between the marks moves, at worst, when every click is off by one pixel (one standard deviation), mm.
    pub per_pixel_mm: f64,
    /// What would have to be marked for more to be solved.
    pub missing: Option<&'static str>,
}

impl Fit {
    /// Root mean square of the residuals, mm.
    pub fn rms_mm(&self) -> f64 {
        let count = self.residuals_mm.len().max(1) as f64;
        (self.residuals_mm.iter().map(|residual| residual * residual).sum::<f64>() / count).sqrt()
    }
}

/// Why marks do not place a photo. Marks count from 1, lengths after them.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
#[allow(missing_docs)] // each says it
pub enum FitError {
    #[error(
        "{marks} marks and {lengths} lengths do not place the photo: mark four corners, or two places, or one known length"
    )]
    TooFew { marks: usize, lengths: usize },
    #[error("{count} marks are more than {MOST_MARKS}, the most that are taken: leave some out")]
    TooMany { count: usize },
    #[error(
        "mark {number} lies nowhere: its pixels or millimetres are no numbers, or far outside of any photo or board"
    )]
    Nowhere { number: usize },
    #[error(
        "marks {first} and {second} are the same place: click each place once, and give each its own millimetres"
    )]
    Repeated { first: usize, second: usize },
    #[error(
        "marks {} lie on one line, so that the tilt of the photo cannot be told: choose four places of which no three \
         are on a line, such as the corners of the board",
        list(marks)
    )]
    Collinear { marks: Vec<usize> },
    #[error(
        "the marks contradict each other: no photo of a flat board looks like that; look for two that were exchanged"
    )]
    Contradiction,
}

fn list(marks: &[usize]) -> String {
    let words: Vec<_> = marks.iter().map(ToString::to_string).collect();
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => words.concat(),
    }
}

/// Finds where a photo lies on the board.
///
/// # Errors
/// Too few or too many marks, places that are none, repeated or on one line, or that contradict each other.
pub fn fit(marks: &[Mark], lengths: &[Length], seen: Seen) -> Result<Fit, FitError> {
    make_sense(marks, lengths)?;
    // Without two marks nobody says where the board's frame is: that much is free, and stays as the start has it.
    let free = [3, 1].get(marks.len()).copied().unwrap_or(0);
    let equations = 2 * marks.len() + lengths.len();
    if equations + free < 4 {
        return Err(FitError::TooFew { marks: marks.len(), lengths: lengths.len() });
    }
    let frame = Frame::of(marks, lengths);
    let flat = flat(&frame, seen).ok_or(FitError::Contradiction)?;
    if marks.len() >= 4 {
        if let Some(line) = on_one_line(marks) {
            return Err(FitError::Collinear { marks: line });
        }
        let start = direct(&frame).ok_or(FitError::Contradiction)?;
        return frame.solve(start, 8, 0).ok_or(FitError::Contradiction);
    }
    if equations + free >= 8
        && let Some(start) = eight(&flat)
        && let Some(fit) = frame.solve(start, 8, free)
    {
        return Ok(fit);
    }
    let missing = match (marks.len(), lengths.len()) {
        (0 | 1, 5..) => "lengths in other directions, or four corners, to take out the tilt of the camera",
        (0 | 1, _) => "four corners, or five lengths in all directions, to take out the tilt of the camera",
        (2, _) => "two more marks, to take out the tilt of the camera",
        _ => "one more mark, to take out the tilt of the camera",
    };
    let fit = frame.flat_fit(&flat, free).ok_or(FitError::Contradiction)?;
    Ok(Fit { missing: Some(missing), ..fit })
}

fn make_sense(marks: &[Mark], lengths: &[Length]) -> Result<(), FitError> {
    let count = marks.len().max(lengths.len());
    if count > MOST_MARKS {
        return Err(FitError::TooMany { count });
    }
    let within =
        |place: [f64; 2], far: f64| place.iter().all(|value| value.is_finite() && value.abs() <= far);
    if let Some(at) = marks.iter().position(|mark| !within(mark.px, FAR_PX) || !within(mark.mm, FAR_MM)) {
        return Err(FitError::Nowhere { number: at + 1 });
    }
    for (number, length) in (marks.len() + 1..).zip(lengths) {
        let [a, b] = length.px;
        if !within(a, FAR_PX) || !within(b, FAR_PX) || !(SAME_MM..=FAR_MM).contains(&length.mm) {
            return Err(FitError::Nowhere { number });
        }
        if apart(a, b) < SAME_PX {
            return Err(FitError::Repeated { first: number, second: number });
        }
    }
    for (second, mark) in marks.iter().enumerate() {
        let same = |other: &Mark| apart(mark.px, other.px) < SAME_PX || apart(mark.mm, other.mm) < SAME_MM;
        if let Some(first) = marks.iter().take(second).position(same) {
            return Err(FitError::Repeated { first: first + 1, second: second + 1 });
        }
    }
    Ok(())
}

/// Is the triangle so flat that its corners count as being on one line?
fn is_flat([a, b, c]: [[f64; 2]; 3]) -> bool {
    let twice = turn(a, b, c).abs();
    let longest = apart(a, b).max(apart(b, c)).max(apart(c, a));
    twice <= FLAT * longest * longest
}

/// Marks, counted from 1, that keep all from containing four of which no three lie on a line; `None` where there are four such.
fn on_one_line(marks: &[Mark]) -> Option<Vec<usize>> {
    let flat = |of: [&Mark; 3]| is_flat(of.map(|mark| mark.px)) || is_flat(of.map(|mark| mark.mm));
    let numbered: Vec<(usize, &Mark)> = (1..).zip(marks).collect();
    // The two farthest apart, then who is farthest from their line, on either side of it and beyond: a wide quadrangle, if there is one.
    let mut line = None;
    for (i, a) in &numbered {
        for (j, b) in numbered.iter().skip(*i) {
            let off: Vec<_> = numbered.iter().filter(|(k, c)| k != i && k != j && !flat([a, b, c])).collect();
            for (at, (_, c)) in off.iter().enumerate() {
                let fourth = |(_, d): &&&(usize, &Mark)| !flat([a, c, d]) && !flat([b, c, d]);
                if off.iter().skip(at + 1).any(|d| fourth(&d)) {
                    return None;
                }
            }
            let on: Vec<usize> = numbered
                .iter()
                .filter(|(k, c)| k == i || k == j || flat([a, b, c]))
                .map(|(k, _)| *k)
                .collect();
            if on.len() > line.as_ref().map_or(0, Vec::len) {
                line = Some(on);
            }
        }
    }
    line
}

/// The clicks in coordinates whose middle is zero and whose size is about one, as both kinds of solving want them.
struct Frame {
    marks: Vec<Mark>,
    lengths: Vec<Length>,
    px: Scale,
    mm: Scale,
}

/// `normal = (plain - middle) / size`.
#[derive(Clone, Copy)]
struct Scale {
    middle: [f64; 2],
    size: f64,
}

impl Scale {
    fn of(places: &[[f64; 2]]) -> Self {
        let count = places.len().max(1) as f64;
        let sum = places.iter().fold([0.0; 2], |sum, place| [sum[0] + place[0], sum[1] + place[1]]);
        let middle = sum.map(|sum| sum / count);
        let size = places.iter().map(|place| apart(*place, middle)).sum::<f64>() / count;
        Self { middle, size: if size > 0.0 { size } else { 1.0 } }
    }

    fn normal(&self, place: [f64; 2]) -> [f64; 2] {
        [(place[0] - self.middle[0]) / self.size, (place[1] - self.middle[1]) / self.size]
    }

    /// From plain to normal.
    fn map(&self) -> Option<Homography> {
        let [x, y] = self.middle;
        Homography::affine([[1.0 / self.size, 0.0], [0.0, 1.0 / self.size]], [-x / self.size, -y / self.size])
    }
}

/// The map from normal millimetres to normal pixels, by its eight unknowns; the ninth entry is one.
fn of_eight(unknowns: &DVector<f64>) -> Option<Homography> {
    let mut all: Vec<f64> = unknowns.iter().copied().collect();
    all.push(1.0);
    Homography::of(Matrix3::from_row_slice(&all))
}

fn eight(map: &Homography) -> Option<DVector<f64>> {
    let rows = map.rows();
    let last = rows[2][2];
    let all: Vec<f64> = rows.iter().flatten().map(|entry| entry / last).take(8).collect();
    all.iter().all(|value| value.is_finite()).then(|| DVector::from_vec(all))
}

impl Frame {
    fn of(marks: &[Mark], lengths: &[Length]) -> Self {
        let clicks = marks.iter().map(|mark| mark.px).chain(lengths.iter().flat_map(|length| length.px));
        let px = Scale::of(&clicks.collect::<Vec<_>>());
        let mut mm = Scale::of(&marks.iter().map(|mark| mark.mm).collect::<Vec<_>>());
        if marks.len() < 2
            && let Some(longest) = lengths.iter().max_by(|a, b| a.mm.total_cmp(&b.mm))
        {
            // What the clicks' size is on the board, by the longest length.
            mm.size = px.size * longest.mm / apart(longest.px[0], longest.px[1]).max(SAME_PX);
        }
        let marks =
            marks.iter().map(|mark| Mark { px: px.normal(mark.px), mm: mm.normal(mark.mm) }).collect();
        let lengths = lengths
            .iter()
            .map(|length| Length { px: length.px.map(|at| px.normal(at)), mm: length.mm / mm.size })
            .collect();
        Self { marks, lengths, px, mm }
    }

    /// How far the clicks are from where a map puts their places, in normal pixels; a length by both its clicks.
    fn residuals(&self, map: &Homography) -> Option<DVector<f64>> {
        let back = map.inverse()?;
        let mut all = Vec::with_capacity(2 * self.marks.len() + self.lengths.len());
        for mark in &self.marks {
            let [x, y] = map.apply(mark.mm)?;
            all.extend([x - mark.px[0], y - mark.px[1]]);
        }
        for length in &self.lengths {
            let [a, b] = length.px;
            let read = apart(back.apply(a)?, back.apply(b)?);
            let scale = apart(a, b) / length.mm;
            all.push((read - length.mm) * scale / std::f64::consts::SQRT_2);
        }
        Some(DVector::from_vec(all))
    }

    /// The perspective; `None` where the marks do not determine it.
    fn solve(&self, start: DVector<f64>, unknowns: usize, free: usize) -> Option<Fit> {
        let solved = least_squares(start, |unknowns| self.residuals(&of_eight(unknowns)?))?;
        if rank(&solved.slopes, WEAK) + free < unknowns {
            return None;
        }
        let map = of_eight(&solved.unknowns)?;
        self.in_front(&map)?;
        let spare = (solved.slopes.nrows() + free).saturating_sub(unknowns);
        let covariance = covariance(&solved.slopes)?;
        let per_pixel = self.spread(&solved.unknowns, &covariance, of_eight)?;
        self.finish(&map, Model::Perspective, spare, per_pixel)
    }

    /// As seen from straight above, with the marks' own least squares.
    fn flat_fit(&self, start: &Homography, free: usize) -> Option<Fit> {
        let [[a, b, x], [c, d, y], [_, _, w]] = start.rows();
        let hand = if a * d - b * c < 0.0 { -1.0 } else { 1.0 };
        let of_four = move |unknowns: &DVector<f64>| {
            let [a, c, x, y] = [unknowns[0], unknowns[1], unknowns[2], unknowns[3]];
            Homography::affine([[a, -hand * c], [c, hand * a]], [x, y])
        };
        let start = DVector::from_vec([a, c, x, y].map(|value| value / w).to_vec());
        let solved = least_squares(start, |unknowns| self.residuals(&of_four(unknowns)?))?;
        let map = of_four(&solved.unknowns)?;
        let spare = (solved.slopes.nrows() + free).saturating_sub(4);
        let per_pixel = self.spread(&solved.unknowns, &covariance(&solved.slopes)?, of_four)?;
        self.finish(&map, Model::Flat, spare, per_pixel)
    }

    /// All clicks lie on the same side of the horizon; else the map is one that no camera makes.
    fn in_front(&self, map: &Homography) -> Option<()> {
        let row = map.inverse()?.rows()[2];
        let depth = |[x, y]: [f64; 2]| row[0] * x + row[1] * y + row[2];
        let clicks =
            self.marks.iter().map(|mark| mark.px).chain(self.lengths.iter().flat_map(|length| length.px));
        let depths: Vec<f64> = clicks.map(depth).collect();
        let all_of = |sign: f64| depths.iter().all(|depth| depth * sign > 0.0);
        (all_of(1.0) || all_of(-1.0)).then_some(())
    }

    /// How far a place moves when every click has a standard deviation of one pixel, mm: the largest over the corners and the middle of the marks.
    fn spread(
        &self,
        unknowns: &DVector<f64>,
        covariance: &DMatrix<f64>,
        map: impl Fn(&DVector<f64>) -> Option<Homography>,
    ) -> Option<f64> {
        const DELTA: f64 = 1e-6;
        let now = map(unknowns)?.inverse()?;
        let clicks =
            self.marks.iter().map(|mark| mark.px).chain(self.lengths.iter().flat_map(|length| length.px));
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for [x, y] in clicks {
            (low, high) = ([low[0].min(x), low[1].min(y)], [high[0].max(x), high[1].max(y)]);
        }
        let middle = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
        let mut worst: f64 = 0.0;
        for place in [low, high, [low[0], high[1]], [high[0], low[1]], middle] {
            let at = now.apply(place)?;
            let slopes: Vec<[f64; 2]> = (0..unknowns.len())
                .map(|i| {
                    let mut moved = unknowns.clone();
                    *moved.get_mut(i)? += DELTA;
                    let there = map(&moved)?.inverse()?.apply(place)?;
                    Some([(there[0] - at[0]) / DELTA, (there[1] - at[1]) / DELTA])
                })
                .collect::<Option<_>>()?;
            let slopes = DMatrix::from_fn(2, unknowns.len(), |row, column| {
                slopes.get(column).and_then(|slope| slope.get(row)).copied().unwrap_or(0.0)
            });
            worst = worst.max((&slopes * covariance * slopes.transpose()).trace());
        }
        Some(worst.sqrt() * self.mm.size / self.px.size)
    }

    /// In pixels and millimetres again.
    fn finish(&self, map: &Homography, model: Model, spare: usize, per_pixel_mm: f64) -> Option<Fit> {
        let back = map.inverse()?;
        let homography = self.px.map()?.then(&back)?.then(&self.mm.map()?.inverse()?)?;
        let mut residuals_mm = Vec::new();
        for mark in &self.marks {
            residuals_mm.push(apart(back.apply(mark.px)?, mark.mm) * self.mm.size);
        }
        for length in &self.lengths {
            let [a, b] = length.px;
            residuals_mm.push((apart(back.apply(a)?, back.apply(b)?) - length.mm).abs() * self.mm.size);
        }
        let sound = residuals_mm.iter().all(|residual| residual.is_finite()) && per_pixel_mm.is_finite();
        sound.then_some(Fit { homography, model, residuals_mm, spare, per_pixel_mm, missing: None })
    }
}

/// Scale and direction from normal millimetres to normal pixels. Which hand follows from the face that is seen: pixels count downwards.
fn flat(frame: &Frame, seen: Seen) -> Option<Homography> {
    let hand = match seen {
        Seen::Front => -1.0,
        Seen::Back => 1.0,
    };
    if frame.marks.len() < 2 {
        // The frame lies as the photo does; a single mark says where.
        let sign = if seen == Seen::Front { 1.0 } else { -1.0 };
        let shift = match frame.marks.first() {
            Some(mark) => [mark.px[0] - sign * mark.mm[0], mark.px[1] + mark.mm[1]],
            None => [0.0, 0.0],
        };
        return Homography::affine([[sign, 0.0], [0.0, -1.0]], shift);
    }
    // Complex numbers: px = c · mm, or c · its conjugate where the hand changes. Both clouds have their middle at zero only
    // where there are no lengths beside the marks, so the middle of the marks' pixels is taken off.
    let count = frame.marks.len() as f64;
    let middle = frame
        .marks
        .iter()
        .fold([0.0; 2], |sum, mark| [sum[0] + mark.px[0] / count, sum[1] + mark.px[1] / count]);
    let (mut re, mut im, mut norm) = (0.0, 0.0, 0.0);
    for mark in &frame.marks {
        let [u, v] = [mark.px[0] - middle[0], mark.px[1] - middle[1]];
        let [x, y] = [mark.mm[0], hand * mark.mm[1]];
        re += u * x + v * y;
        im += v * x - u * y;
        norm += x * x + y * y;
    }
    let (a, c) = (re / norm, im / norm);
    Homography::affine([[a, -hand * c], [c, hand * a]], middle)
}

/// The direct linear transformation: the null vector of two equations for each mark.
fn direct(frame: &Frame) -> Option<DVector<f64>> {
    // At least nine rows, so that the null vector is among those that the decomposition gives.
    let rows = (2 * frame.marks.len()).max(9);
    let mut equations = DMatrix::zeros(rows, 9);
    for (i, mark) in frame.marks.iter().enumerate() {
        let ([x, y], [u, v]) = (mark.mm, mark.px);
        for (column, value) in [-x, -y, -1.0, 0.0, 0.0, 0.0, u * x, u * y, u].into_iter().enumerate() {
            *equations.get_mut((2 * i, column))? = value;
        }
        for (column, value) in [0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, v].into_iter().enumerate() {
            *equations.get_mut((2 * i + 1, column))? = value;
        }
    }
    let svd = equations.svd(false, true);
    let (smallest, _) = svd.singular_values.argmin();
    let rows = svd.v_t?;
    let row = rows.row(smallest);
    let last = row.iter().next_back()?;
    let all: Vec<f64> = row.iter().map(|entry| entry / last).take(8).collect();
    all.iter().all(|value| value.is_finite()).then(|| DVector::from_vec(all))
}
