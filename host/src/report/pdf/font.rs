//! The one family every PDF is set in, with the width of a text, and the part of a font that a document needs.
//!
//! No system font is asked for: the same report is the same file everywhere. A text is set character by character as it
//! was typed; letters are not joined, and scripts that run from right to left are not turned round. A character the fonts
//! do not have is shown as U+FFFD, and stays itself for whoever copies or searches the text.

use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::LazyLock;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str};
use subsetter::GlyphRemapper;

use super::document::squeezed;
use crate::visible::clean;

/// Weight of a text.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Face {
    /// For running text.
    Regular,
    /// For names and verdicts.
    Bold,
}

/// Both faces, in the order of [`Face`].
const FACES: [Face; 2] = [Face::Regular, Face::Bold];

/// Fonts as they are distributed. Source and licence: `host/assets/fonts/LICENSE`.
const DATA: [&[u8]; 2] = [
    include_bytes!("../../../assets/fonts/DejaVuSansCondensed.ttf"),
    include_bytes!("../../../assets/fonts/DejaVuSansCondensed-Bold.ttf"),
];

/// Names the faces have in a document, with the tag of six letters that marks a subset (ISO 32000-1, 9.6.4).
const NAMES: [&str; 2] = ["CWRGLR+DejaVuSansCondensed", "CWBOLD+DejaVuSansCondensed-Bold"];

/// The fonts read once. One that cannot be read has no glyph; a test sees to it that both can.
static READ: LazyLock<[Option<ttf_parser::Face<'static>>; 2]> =
    LazyLock::new(|| DATA.map(|data| ttf_parser::Face::parse(data, 0).ok()));

/// Lines stand this many type sizes apart.
pub const LEADING: f32 = 1.32;

/// The glyph of a character, or of the replacement for one the font does not have.
fn glyph(face: Face, c: char) -> Option<ttf_parser::GlyphId> {
    let font = READ[face as usize].as_ref()?;
    font.glyph_index(c).or_else(|| font.glyph_index(char::REPLACEMENT_CHARACTER))
}

/// How far a character moves on, in type sizes.
fn advance(face: Face, c: char) -> f32 {
    let units = |font: &ttf_parser::Face<'_>, glyph| font.glyph_hor_advance(glyph).unwrap_or_default();
    match (READ[face as usize].as_ref(), glyph(face, c)) {
        (Some(font), Some(glyph)) => f32::from(units(font, glyph)) / f32::from(font.units_per_em()),
        _ => 0.0,
    }
}

/// A text in one line, hidden characters written out: what can be drawn. Knows its width.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    text: String,
    /// Its weight.
    pub face: Face,
    /// Its type size, points.
    pub size: f32,
    /// Its width, points.
    pub width: f32,
}

impl Line {
    /// A text as it is, however wide.
    pub fn of(text: &str, face: Face, size: f32) -> Self {
        Self::cleaned(&clean(text), face, size)
    }

    fn cleaned(text: &str, face: Face, size: f32) -> Self {
        let width = text.chars().map(|c| advance(face, c)).sum::<f32>() * size;
        Self { text: text.to_owned(), face, size, width }
    }

    /// A text, or as much of its beginning as fits with an ellipsis.
    pub fn cut(text: &str, face: Face, size: f32, width: f32) -> Self {
        let whole = Self::of(text, face, size);
        if whole.width <= width {
            return whole;
        }
        let end = fitting(&whole.text, face, width / size - advance(face, '…'));
        Self::cleaned(&format!("{}…", whole.text[..end].trim_end()), face, size)
    }

    /// A text in lines of at most this width, broken at blanks, and within a word only where the word alone is too wide.
    /// A no-break blank holds what stands on either side of it together. At least one line comes of every text.
    pub fn wrap(text: &str, face: Face, size: f32, width: f32) -> Vec<Self> {
        // By a hair wider, so that a column made to fit a text does.
        let room = width / size * 1.0001;
        let blank = advance(face, ' ');
        let mut lines = Vec::new();
        let (mut line, mut used) = (String::new(), 0.0);
        for word in clean(text).split(' ').filter(|word| !word.is_empty()) {
            let wide = word.chars().map(|c| advance(face, c)).sum::<f32>();
            if !line.is_empty() && used + blank + wide > room {
                lines.push(Self::cleaned(&line, face, size));
                (line, used) = (String::new(), 0.0);
            }
            if !line.is_empty() {
                line.push(' ');
                used += blank;
            }
            let (mut rest, mut left) = (word, wide);
            while used + left > room && !rest.is_empty() {
                // A line takes one character even where that is too wide: nothing is lost, and it ends.
                let first = rest.chars().next().map_or(0, char::len_utf8);
                let (head, tail) = rest.split_at(fitting(rest, face, room - used).max(first));
                line.push_str(head);
                lines.push(Self::cleaned(&line, face, size));
                (line, used) = (String::new(), 0.0);
                left -= head.chars().map(|c| advance(face, c)).sum::<f32>();
                rest = tail;
            }
            line.push_str(rest);
            used += left;
        }
        if !line.is_empty() || lines.is_empty() {
            lines.push(Self::cleaned(&line, face, size));
        }
        lines
    }

    /// What stands in it.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// From one line to the next, points.
    pub fn leading(&self) -> f32 {
        self.size * LEADING
    }
}

/// Length in bytes of the longest beginning of at most this width, in type sizes.
fn fitting(text: &str, face: Face, width: f32) -> usize {
    let mut used = 0.0;
    for (at, c) in text.char_indices() {
        used += advance(face, c);
        if used > width {
            return at;
        }
    }
    text.len()
}

/// The characters a document uses of each face. Each has a code of its own in the order of first use, so that even those
/// shown by one glyph can be told apart when the text is copied.
#[derive(Default)]
pub struct Fonts {
    used: [Used; 2],
}

#[derive(Default)]
struct Used {
    codes: HashMap<char, u16>,
    characters: Vec<char>,
}

impl Used {
    /// 0 stands for every character after the first 65 535 kinds: more than a page of text can hold kinds of.
    fn code(&mut self, c: char) -> u16 {
        if let Some(code) = self.codes.get(&c) {
            return *code;
        }
        let Ok(code) = u16::try_from(self.characters.len() + 1) else { return 0 };
        self.characters.push(c);
        self.codes.insert(c, code);
        code
    }
}

impl Fonts {
    /// A line in the codes of the document.
    pub fn encode(&mut self, line: &Line) -> Vec<u8> {
        let used = &mut self.used[line.face as usize];
        // A blank is a plain one in the file, for those who search.
        line.text.chars().flat_map(|c| used.code(if c == '\u{a0}' { ' ' } else { c }).to_be_bytes()).collect()
    }

    /// The name a face goes by on every page.
    pub fn name(face: Face) -> Name<'static> {
        match face {
            Face::Regular => Name(b"F0"),
            Face::Bold => Name(b"F1"),
        }
    }

    /// Names of the faces, each with the number of its first object of [`OBJECTS`].
    pub fn resources(first: i32) -> [(Name<'static>, Ref); 2] {
        FACES.map(|face| (Self::name(face), Ref::new(first + face as i32 * OBJECTS)))
    }

    /// Writes both faces with the glyphs that are used.
    pub fn write(&self, pdf: &mut Pdf, first: i32) {
        for face in FACES {
            if let Some(font) = READ[face as usize].as_ref() {
                self.used[face as usize].write(pdf, face, font, first + face as i32 * OBJECTS);
            }
        }
    }
}

/// Objects of one font: the font, what it descends from, its description, its program, its map to Unicode, and its map
/// from codes to glyphs.
const OBJECTS: i32 = 6;

/// Objects of all fonts.
pub const FONT_OBJECTS: i32 = OBJECTS * FACES.len() as i32;

impl Used {
    /// A composite font of TrueType outlines: ISO 32000-1, 9.7.
    fn write(&self, pdf: &mut Pdf, face: Face, font: &ttf_parser::Face<'_>, first: i32) {
        let [whole, descendant, descriptor, program, unicode, glyphs] =
            [0, 1, 2, 3, 4, 5].map(|object| Ref::new(first + object));
        let name = Name(NAMES[face as usize].as_bytes());
        let system = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };

        let wanted: Vec<u16> =
            self.characters.iter().map(|c| glyph(face, *c).map_or(0, |glyph| glyph.0)).collect();
        let mut remapper = GlyphRemapper::new();
        let moved: Vec<u16> = wanted.iter().map(|glyph| remapper.remap(*glyph)).collect();
        let data = DATA[face as usize];
        // Where no part can be made of a font, the whole of it does as well.
        let (data, moved) = match subsetter::subset(data, 0, &remapper) {
            Ok(part) => (Cow::Owned(part), moved),
            Err(_) => (Cow::Borrowed(data), wanted),
        };

        pdf.type0_font(whole)
            .base_font(name)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(descendant)
            .to_unicode(unicode);

        let mut cid = pdf.cid_font(descendant);
        cid.subtype(CidFontType::Type2).base_font(name).system_info(system).font_descriptor(descriptor);
        cid.default_width(0.0).cid_to_gid_map_stream(glyphs);
        if !self.characters.is_empty() {
            cid.widths().consecutive(1, self.characters.iter().map(|c| advance(face, *c) * 1000.0));
        }
        cid.finish();

        let scale = 1000.0 / f32::from(font.units_per_em());
        let bounds = font.global_bounding_box();
        let bounds =
            [bounds.x_min, bounds.y_min, bounds.x_max, bounds.y_max].map(|edge| f32::from(edge) * scale);
        let cap_height = font.capital_height().unwrap_or_else(|| font.ascender());
        pdf.font_descriptor(descriptor)
            .name(name)
            .flags(FontFlags::SYMBOLIC)
            .bbox(Rect::new(bounds[0], bounds[1], bounds[2], bounds[3]))
            .italic_angle(0.0)
            .ascent(f32::from(font.ascender()) * scale)
            .descent(f32::from(font.descender()) * scale)
            .cap_height(f32::from(cap_height) * scale)
            .stem_v(if face == Face::Bold { 160.0 } else { 80.0 }) // not in the font; a usual value
            .font_file2(program);

        let squeezed_data = squeezed(&data);
        let mut stream = pdf.stream(program, &squeezed_data);
        stream.filter(Filter::FlateDecode).pair(Name(b"Length1"), data.len().try_into().unwrap_or(i32::MAX));
        stream.finish();

        let mut cmap = UnicodeCmap::<u16>::new(Name(b"Copperwalk-Unicode"), system);
        for (code, c) in (1..).zip(&self.characters) {
            cmap.pair(code, *c);
        }
        let cmap = squeezed(&cmap.finish());
        pdf.cmap(unicode, &cmap).filter(Filter::FlateDecode);

        let map: Vec<u8> = std::iter::once(0).chain(moved).flat_map(u16::to_be_bytes).collect();
        pdf.stream(glyphs, &squeezed(&map)).filter(Filter::FlateDecode);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn both_faces_can_be_read_and_have_what_reports_need() {
        for face in FACES {
            let font = READ[face as usize].as_ref().unwrap();
            for c in "AZaz09Ωµ±≤≥≠·–…°✓✗⊘×éßñЖΩ\u{fffd}".chars() {
                assert!(font.glyph_index(c).is_some(), "{face:?} {c}");
            }
            assert!(font.glyph_index('電').is_none());
            assert!(advance(face, '電') > 0.5 && advance(face, '電') == advance(face, '\u{fffd}'));
        }
    }

    #[test]
    fn digits_stand_in_columns() {
        for face in FACES {
            let widths: Vec<f32> = ('0'..='9').map(|digit| advance(face, digit)).collect();
            assert!(widths.iter().all(|width| *width == widths[0]), "{widths:?}");
        }
    }

    #[test]
    fn a_text_is_broken_at_blanks_and_never_between_a_figure_and_its_unit() {
        let texts = |width| {
            let lines = Line::wrap("a reading of 25\u{a0}mΩ", Face::Regular, 10.0, width);
            lines.into_iter().map(|line| line.text).collect::<Vec<_>>()
        };
        assert_eq!(texts(500.0), ["a reading of 25\u{a0}mΩ"]);
        assert_eq!(texts(60.0), ["a reading of", "25\u{a0}mΩ"]);
        assert_eq!(Line::wrap("", Face::Bold, 10.0, 50.0).len(), 1);
        assert_eq!(Line::of("a\u{202e}b\n", Face::Bold, 9.0).text, "a\\u{202e}b\\n");
        let cut = Line::cut("power switch", Face::Regular, 10.0, 40.0);
        assert!(cut.text.ends_with('…') && cut.text.starts_with("power") && cut.width <= 40.0, "{cut:?}");
    }

    #[test]
    fn a_character_keeps_its_code_and_every_other_has_another() {
        let mut fonts = Fonts::default();
        let codes = fonts.encode(&Line::of("abca電日\u{a0} ", Face::Regular, 9.0));
        let codes: Vec<u16> = codes.chunks(2).map(|code| u16::from_be_bytes([code[0], code[1]])).collect();
        assert_eq!(codes, [1, 2, 3, 1, 4, 5, 6, 6], "only the two blanks are one");
        let all: String = (0..=0x10_ffff).filter_map(char::from_u32).take(70_000).collect();
        let codes = fonts.encode(&Line::cleaned(&all, Face::Regular, 9.0));
        assert_eq!(codes[codes.len() - 2..], [0, 0], "more kinds than there are codes");
    }

    proptest! {
        #[test]
        fn no_text_is_lost_and_no_line_too_wide(text in "\\PC{0,60}", width in 12.0f32..200.0) {
            let lines = Line::wrap(&text, Face::Regular, 10.0, width);
            let joined: String = lines.iter().map(|line| line.text.as_str()).collect();
            prop_assert_eq!(joined.replace(' ', ""), clean(&text).replace(' ', ""));
            for line in lines {
                prop_assert!(line.width <= width * 1.001 || line.text.chars().count() == 1, "{line:?}");
            }
            let cut = Line::cut(&text, Face::Bold, 10.0, width);
            prop_assert!(cut.width <= width * 1.001, "{cut:?}");
        }
    }
}
