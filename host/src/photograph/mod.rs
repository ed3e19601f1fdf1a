//! From a photo of a board to places on it, in millimetres.
//!
//! A photo taken by hand shows a flat board in perspective. The two are related by a [`Homography`] (a projective map of
//! planes), which [`fit`] finds from marks and lengths that somebody clicks. [`flatten`] draws the photo anew as seen from straight above;
//! [`align`] lays the back onto the front by holes that go through; [`snap()`]
//! refines a click to the middle of what lies under it. Pixels count from the photo's upper left corner to
//! the right and down, with whole numbers at the corners of pixels; millimetres are the board file's: seen from the front, y up.
//! Lenses that bend straight lines are not corrected: a photo from half a metre away, with the board in its middle, is straight
//! enough (common practice).

mod align;
mod decode;
mod fit;
mod flatten;
mod homography;
mod snap;
mod solve;
#[cfg(test)]
mod tests;

pub use align::{AlignError, Alignment, MOST_PAIRS, Pair, align};
pub use decode::{INPUT_BYTES, INPUT_PIXELS, PictureError, decode, jpeg, oriented};
pub use fit::{Fit, FitError, Length, MOST_MARKS, Mark, Model, fit};
pub use flatten::{FlattenError, MOST_SIDE_PX, Window, flatten};
pub use homography::Homography;
pub use snap::{Aim, MOST_WINDOW_PX, REACH_PX, Snap, What, snap};

/// The face of a board that a photo shows.
#[derive(Clone, Copy, PartialEq, Eq, Debug, serde::Serialize, serde::Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Seen {
    /// As the board file's coordinates say: x to the right, y up.
    Front,
    /// Turned over about its vertical axis: x to the left, y up.
    Back,
}
