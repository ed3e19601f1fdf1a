//! `photos.toml`: where on the board the flattened photos beside it lie.
//!
//! `front.jpg` shows its part of the board with x to the right, `back.jpg` with x to the left, as the hand holds it; y is up in both.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::photograph::{Seen, Window};

/// The file that says where the photos lie.
pub const PHOTOS: &str = "photos.toml";

/// Where the photos lie; none where there is no photo of that side.
#[derive(Clone, Copy, PartialEq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Photos {
    /// The front's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub front: Option<Window>,
    /// The back's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub back: Option<Window>,
}

impl Photos {
    /// Reads the file's text; what cannot be read places no photo.
    pub fn parse(text: &str) -> Self {
        let Ok(table) = text.parse::<toml::Table>() else { return Self::default() };
        let window = |key: &str| {
            let window: Window = table.get(key)?.clone().try_into().ok()?;
            let places = window.low.into_iter().chain(window.high);
            let sides = [0, 1].iter().all(|&axis: &usize| window.high.get(axis) > window.low.get(axis));
            (sides && places.into_iter().all(|place| place.is_finite() && place.abs() <= 4000.0))
                .then_some(window)
        };
        Self { front: window("front"), back: window("back") }
    }

    /// As a file.
    pub fn text(&self) -> String {
        let mut text = "# Where the flattened photos lie: the part of the board that each shows, mm, seen from the front.\n".to_owned();
        for (name, window) in [("front", self.front), ("back", self.back)] {
            if let Some(Window { low, high }) = window {
                let [x, y, right, top] = [low[0], low[1], high[0], high[1]];
                text += &format!("\n[{name}]\nlow = [{x:?}, {y:?}]\nhigh = [{right:?}, {top:?}]\n");
            }
        }
        text
    }

    /// That of one side.
    pub fn of(&self, side: Seen) -> Option<Window> {
        match side {
            Seen::Front => self.front,
            Seen::Back => self.back,
        }
    }
}

/// The photo's file.
pub fn photo_file(side: Seen) -> &'static str {
    match side {
        Seen::Front => "front.jpg",
        Seen::Back => "back.jpg",
    }
}
