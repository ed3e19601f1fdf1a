//! Sheets of labels as PDF: a serial number to be read by people, and as a code to be scanned.
//!
//! `qr` and `code128` make the codes, `layout` finds room for code and text on a label of a given size, and [`labels`]
//! puts labels on sheets. What does not fit is refused with the size it needs; nothing is printed that a scanner
//! cannot be expected to read.

mod code128;
mod layout;
mod qr;

use std::num::NonZeroU16;

use serde::Deserialize;
use utoipa::ToSchema;

use super::pdf::{MM, Paper, document, font::Fonts, page::Page};
use layout::Layout;

/// How a serial number is coded.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Code {
    /// A square of modules: any text.
    #[default]
    Qr,
    /// Bars: printable ASCII.
    #[serde(rename = "code-128")]
    Code128,
}

impl Code {
    fn word(self) -> &'static str {
        match self {
            Self::Qr => "QR code",
            Self::Code128 => "Code 128",
        }
    }
}

/// How labels stand on a sheet: side by side without gaps between them, inside one margin all round.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Sheet {
    /// Size of the paper.
    pub paper: Paper,
    /// Labels from top to bottom.
    pub rows: NonZeroU16,
    /// Labels from left to right.
    pub columns: NonZeroU16,
    /// Blank edge of the paper, mm.
    pub margin_mm: f32,
}

impl Sheet {
    /// Width and height of a label, mm. Not above zero where the margin leaves nothing.
    fn label_mm(&self) -> [f32; 2] {
        let [width, height] = self.paper.millimetres().map(|edge| edge - 2.0 * self.margin_mm);
        [width / f32::from(self.columns.get()), height / f32::from(self.rows.get())]
    }
}

/// Why there are no labels.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum LabelError {
    /// No serial number.
    #[error("there is no serial number to print: name one, or a lot with units")]
    Nothing,
    /// A margin below zero, or one that covers the sheet.
    #[error("a margin of {margin_mm} mm leaves no room on a sheet of {} mm by {} mm: name a smaller one, from 0 mm", paper[0], paper[1])]
    Margin {
        /// The margin, mm.
        margin_mm: f32,
        /// Width and height of the paper, mm.
        paper: [f32; 2],
    },
    /// A text that the code has no signs for.
    #[error(
        "{serial:?} holds more than the letters, digits and signs of ASCII, which is all that Code 128 can hold: use a QR code"
    )]
    NotAscii {
        /// The serial number.
        serial: String,
    },
    /// A text longer than any code.
    #[error("{serial:?} is longer than any QR code can hold: shorten it")]
    TooLong {
        /// The serial number, its beginning.
        serial: String,
    },
    /// A label too small for what belongs on it.
    #[error(
        "{serial:?} with its {} needs a label of at least {:.1} mm by {:.1} mm, and this sheet has labels of {:.1} mm by \
         {:.1} mm: name fewer rows or columns, or a smaller margin",
        code.word(), needs[0], needs[1], label[0], label[1]
    )]
    TooSmall {
        /// The serial number.
        serial: String,
        /// How it is coded.
        code: Code,
        /// Width and height that would do, mm, rounded up.
        needs: [f32; 2],
        /// Width and height of a label, mm.
        label: [f32; 2],
    },
}

/// Labels for these serial numbers, row by row and sheet by sheet, as a PDF.
///
/// # Errors
/// See [`LabelError`]; then there is no file.
pub fn labels(serials: &[String], sheet: &Sheet, code: Code) -> Result<Vec<u8>, LabelError> {
    let label = sheet.label_mm();
    let [width, height] = label.map(|edge| edge * MM);
    // Not a number is no margin either.
    if !(sheet.margin_mm >= 0.0 && width > 0.0 && height > 0.0) {
        return Err(LabelError::Margin { margin_mm: sheet.margin_mm, paper: sheet.paper.millimetres() });
    }
    if serials.is_empty() {
        return Err(LabelError::Nothing);
    }
    let layouts =
        serials.iter().map(|serial| Layout::of(serial, code, label)).collect::<Result<Vec<_>, _>>()?;
    let columns = usize::from(sheet.columns.get());
    let on_a_sheet = columns * usize::from(sheet.rows.get());
    let mut fonts = Fonts::default();
    let pages = layouts.chunks(on_a_sheet).map(|layouts| {
        let mut page = Page::new(sheet.paper);
        for (i, layout) in layouts.iter().enumerate() {
            let [column, row] = [i % columns, i / columns].map(|place| place as f32);
            let margin = sheet.margin_mm * MM;
            layout.draw(&mut page, &mut fonts, [margin + column * width, margin + row * height]);
        }
        page
    });
    let pages = pages.collect();
    Ok(document(pages, &fonts, sheet.paper, "labels"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    fn sheet(rows: u16, columns: u16, margin_mm: f32) -> Sheet {
        let [rows, columns] = [rows, columns].map(|count| NonZeroU16::new(count).unwrap());
        Sheet { paper: Paper::A4, rows, columns, margin_mm }
    }

    fn serials(count: usize) -> Vec<String> {
        (0..count).map(|number| format!("TG-{number:04}")).collect()
    }

    #[test]
    fn labels_fill_sheets_one_after_the_other() {
        for (count, sheets) in [(1, 1), (24, 1), (25, 2), (49, 3)] {
            for code in [Code::Qr, Code::Code128] {
                let file = labels(&serials(count), &sheet(8, 3, 10.0), code).unwrap();
                let text = String::from_utf8_lossy(&file);
                assert_eq!(text.matches("/Type /Page\n").count(), sheets, "{count}");
                assert_eq!(file, labels(&serials(count), &sheet(8, 3, 10.0), code).unwrap());
            }
        }
    }

    #[test]
    fn what_cannot_be_printed_is_refused_in_millimetres() {
        let said = |serial: &str, sheet: Sheet, code| {
            labels(&[serial.to_owned()], &sheet, code).unwrap_err().to_string()
        };
        for margin in [105.0, 400.0, -1.0, f32::NAN, f32::INFINITY] {
            let said = said("A", sheet(8, 3, margin), Code::Qr);
            assert!(said.contains("leaves no room on a sheet of 210 mm by 297 mm"), "{said}");
        }
        assert_eq!(
            said("TG-0042", sheet(40, 20, 10.0), Code::Qr),
            "\"TG-0042\" with its QR code needs a label of at least 12.6 mm by 15.9 mm, and this sheet has labels of 9.5 mm \
             by 6.9 mm: name fewer rows or columns, or a smaller margin"
        );
        assert!(
            said("TG-0042", sheet(8, 8, 10.0), Code::Code128)
                .contains("with its Code 128 needs a label of at least")
        );
        assert!(said("Gerät 7", sheet(8, 3, 10.0), Code::Code128).contains("use a QR code"));
        assert!(
            said(&"x".repeat(5_000), sheet(1, 1, 10.0), Code::Qr)
                .ends_with("is longer than any QR code can hold: shorten it")
        );
        assert_eq!(labels(&[], &sheet(8, 3, 10.0), Code::Qr), Err(LabelError::Nothing));
        assert!(labels(&[sample::NASTY.to_owned()], &sheet(8, 3, 10.0), Code::Qr).is_ok());
    }
}
