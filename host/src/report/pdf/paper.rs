//! Sheets of paper, and lengths on them. Everything is laid out in points of 1/72 inch, from the top left corner down.

use serde::Deserialize;
use utoipa::ToSchema;

/// Points per millimetre.
pub const MM: f32 = 72.0 / 25.4;

/// A size of paper, upright.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Paper {
    /// 210 mm by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 inches by 11 inches (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    /// Width and height, mm.
    pub fn millimetres(self) -> [f32; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }

    /// Width and height, points.
    pub fn points(self) -> [f32; 2] {
        self.millimetres().map(|length| length * MM)
    }
}
