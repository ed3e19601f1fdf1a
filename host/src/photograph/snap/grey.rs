//! The part of a photo as numbers: smoothed, with its noise, looked up without end.

use image::GrayImage;

/// Binomial weights, a standard deviation of one pixel: less blur than any camera's own, and a quarter of the noise.
const SMOOTH: [f64; 5] = [1.0 / 16.0, 4.0 / 16.0, 6.0 / 16.0, 4.0 / 16.0, 1.0 / 16.0];
/// What is left of a pixel's noise after smoothing, by the weights.
const NOISE_LEFT: f64 = 70.0 / 256.0;
/// Median of the absolute value over the standard deviation, of a normal distribution.
const MEDIAN_OF_NORMAL: f64 = 0.6745;

/// Grey levels from 0 to 255, smoothed.
pub(super) struct Grey {
    pub width: i32,
    pub height: i32,
    /// Noise of a level, one standard deviation, after smoothing.
    pub noise: f64,
    levels: Vec<f64>,
}

impl Grey {
    pub fn of(image: &GrayImage) -> Self {
        let (width, height) = (image.width() as i32, image.height() as i32);
        let raw = Self {
            width,
            height,
            noise: 0.0,
            levels: image.as_raw().iter().map(|level| f64::from(*level)).collect(),
        };
        let across = raw.along(|grey, x, y, by| grey.at(x + by, y));
        Self { noise: raw.pixel_noise() * NOISE_LEFT, ..across.along(|grey, x, y, by| grey.at(x, y + by)) }
    }

    fn along(&self, level: impl Fn(&Self, i32, i32, i32) -> f64) -> Self {
        let places = (0..self.height).flat_map(|y| (0..self.width).map(move |x| (x, y)));
        let smooth = |(x, y)| (-2..).zip(SMOOTH).map(|(by, weight)| weight * level(self, x, y, by)).sum();
        let levels = places.map(smooth).collect();
        Self { levels, ..*self }
    }

    /// By second differences along the rows, which a slope of the light does not change and edges, being few, do not sway.
    fn pixel_noise(&self) -> f64 {
        let places = (0..self.height).flat_map(|y| (1..self.width - 1).map(move |x| (x, y)));
        let mut bends: Vec<f64> = places
            .map(|(x, y)| (self.at(x - 1, y) - 2.0 * self.at(x, y) + self.at(x + 1, y)).abs())
            .collect();
        if bends.is_empty() {
            return 0.0;
        }
        let middle = bends.len() / 2;
        let (_, median, _) = bends.select_nth_unstable_by(middle, f64::total_cmp);
        // Its variance is 1 + 4 + 1 times a pixel's.
        *median / MEDIAN_OF_NORMAL / 6.0_f64.sqrt()
    }

    /// The level of a pixel; outside, of the nearest one.
    pub fn at(&self, x: i32, y: i32) -> f64 {
        let (x, y) = (x.clamp(0, (self.width - 1).max(0)), y.clamp(0, (self.height - 1).max(0)));
        self.levels.get((y * self.width + x) as usize).copied().unwrap_or(0.0)
    }

    /// The level between pixels, whose middles are at halves.
    pub fn between(&self, [x, y]: [f64; 2]) -> f64 {
        let (x, y) = (x - 0.5, y - 0.5);
        let (left, up) = (x.floor(), y.floor());
        let (across, along) = (x - left, y - up);
        let (left, up) = (left as i32, up as i32);
        let row = |y| self.at(left, y) * (1.0 - across) + self.at(left + 1, y) * across;
        row(up) * (1.0 - along) + row(up + 1) * along
    }

    /// How the level rises across and along at a pixel.
    pub fn slope(&self, x: i32, y: i32) -> [f64; 2] {
        [(self.at(x + 1, y) - self.at(x - 1, y)) / 2.0, (self.at(x, y + 1) - self.at(x, y - 1)) / 2.0]
    }

    /// The pixel that a place lies in.
    pub fn pixel(&self, [x, y]: [f64; 2]) -> (i32, i32) {
        ((x as i32).clamp(0, (self.width - 1).max(0)), (y as i32).clamp(0, (self.height - 1).max(0)))
    }

    /// Pixels whose middles lie within a distance of a place.
    pub fn within(&self, [x, y]: [f64; 2], far: f64) -> impl Iterator<Item = (i32, i32)> + use<> {
        let (width, height) = (self.width, self.height);
        let span = |middle: f64, most: i32| {
            ((middle - far).floor() as i32).max(0)..((middle + far).ceil() as i32).min(most)
        };
        let columns = span(x, width);
        span(y, height).flat_map(move |row| columns.clone().map(move |column| (column, row))).filter(
            move |(column, row)| (f64::from(*column) + 0.5 - x).hypot(f64::from(*row) + 0.5 - y) <= far,
        )
    }
}
