//! Finds room for lettering on a drawing: of the places a label could take, the one that covers least.

/// An upright rectangle in units of the drawing.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Rect {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Rect {
    /// Round a centre.
    pub fn round([x, y]: [f64; 2], width: f64, height: f64) -> Self {
        Self { x: x - width / 2.0, y: y - height / 2.0, width, height }
    }

    /// Its centre.
    pub fn centre(self) -> [f64; 2] {
        [self.x + self.width / 2.0, self.y + self.height / 2.0]
    }

    /// Area that both cover.
    fn overlap(self, other: Self) -> f64 {
        let span =
            |a: f64, a_size: f64, b: f64, b_size: f64| ((a + a_size).min(b + b_size) - a.max(b)).max(0.0);
        span(self.x, self.width, other.x, other.width) * span(self.y, self.height, other.y, other.height)
    }
}

/// What is taken already.
pub struct Places {
    sheet: Rect,
    /// What is covered, and how bad it is to cover it.
    taken: Vec<(Rect, f64)>,
}

/// Lettering over lettering cannot be read; over a line it can.
const LETTERING: f64 = 1.0;
const LINE: f64 = 0.3;
/// Lettering that leaves the sheet is lost.
const OFF_SHEET: f64 = 10.0;

impl Places {
    /// An empty sheet.
    pub fn new(sheet: Rect) -> Self {
        Self { sheet, taken: Vec::new() }
    }

    /// Nothing else should cover this.
    pub fn take(&mut self, rect: Rect) {
        self.taken.push((rect, LETTERING));
    }

    /// Nothing else should cover this line.
    pub fn take_line(&mut self, [x0, y0]: [f64; 2], [x1, y1]: [f64; 2], width: f64) {
        const STEP: f64 = 8.0;
        let steps = ((x1 - x0).hypot(y1 - y0) / STEP).ceil().min(1000.0) as u32;
        for i in 0..=steps {
            let t = f64::from(i) / f64::from(steps.max(1));
            let dot = Rect::round([x0 + t * (x1 - x0), y0 + t * (y1 - y0)], width, width);
            self.taken.push((dot, LINE));
        }
    }

    /// Takes the candidate that covers least; of equal ones the first.
    pub fn best(&mut self, candidates: impl IntoIterator<Item = Rect>) -> Option<Rect> {
        let cost = |rect: Rect| {
            let off = rect.width * rect.height - rect.overlap(self.sheet);
            self.taken.iter().map(|(taken, weight)| weight * rect.overlap(*taken)).sum::<f64>()
                + OFF_SHEET * off
        };
        let best = candidates.into_iter().min_by(|a, b| cost(*a).total_cmp(&cost(*b)))?;
        self.take(best);
        Some(best)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: Rect = Rect { x: 0.0, y: 0.0, width: 100.0, height: 100.0 };

    #[test]
    fn the_first_free_place_is_taken_and_then_no_longer_free() {
        let mut places = Places::new(SHEET);
        let (left, right) = (Rect::round([20.0, 50.0], 10.0, 10.0), Rect::round([80.0, 50.0], 10.0, 10.0));
        assert_eq!(places.best([left, right]), Some(left));
        assert_eq!(places.best([left, right]), Some(right));
        assert_eq!(places.best([]), None);
    }

    #[test]
    fn a_label_stays_on_the_sheet_even_where_that_covers_a_line() {
        let mut places = Places::new(SHEET);
        places.take_line([0.0, 50.0], [100.0, 50.0], 4.0);
        let (outside, on_the_line) =
            (Rect::round([0.0, 20.0], 40.0, 10.0), Rect::round([50.0, 50.0], 40.0, 10.0));
        assert_eq!(places.best([outside, on_the_line]), Some(on_the_line));
    }
}
