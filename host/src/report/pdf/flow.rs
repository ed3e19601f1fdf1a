//! From the top of a page to its bottom, and on to the next: headings, paragraphs, tables.

use super::document::document;
use super::font::{Face, Fonts, Line};
use super::page::{COPPER, Colour, INK, Page, RULE, SOFT};
use super::paper::Paper;

/// Blank edge at the left and at the right, points: 17 mm.
pub const SIDE: f32 = 48.0;
/// Where a page begins.
const TOP: f32 = 44.0;
/// Kept free at the bottom, for the foot.
const BOTTOM: f32 = 58.0;
/// Baseline of the foot above the edge of the paper.
const FOOT: f32 = 30.0;

/// Type sizes, points.
pub const BODY: f32 = 8.6;
/// Small print.
pub const SMALL: f32 = 7.2;
/// Headings.
const HEADING: f32 = 10.4;

/// Text on its way down the pages.
pub struct Flow {
    paper: Paper,
    /// Every character used so far.
    pub fonts: Fonts,
    done: Vec<Page>,
    /// The page that is being filled.
    pub page: Page,
    /// Where the next thing goes.
    pub y: f32,
    kind: String,
    title: String,
}

impl Flow {
    /// The first page with its head: what kind of sheet it is, whose it is.
    pub fn new(paper: Paper, kind: &str, title: &str) -> Self {
        let page = Page::new(paper);
        let (kind, title) = (kind.to_owned(), title.to_owned());
        let mut flow = Self { paper, fonts: Fonts::default(), done: Vec::new(), page, y: TOP, kind, title };
        flow.head();
        flow
    }

    fn head(&mut self) {
        let [left, right] = [SIDE, SIDE + self.width()];
        self.page.fill([left, TOP - 8.0, self.width(), 2.0], COPPER);
        let name = Line::of("Copperwalk", Face::Bold, BODY);
        let kind = Line::of(&self.kind, Face::Regular, BODY);
        self.y += BODY + 2.0;
        self.page.text(&mut self.fonts, &name, [left, self.y], COPPER);
        self.page.text_to(&mut self.fonts, &kind, [right, self.y], SOFT);
        self.y += 8.0;
        let title = self.title.clone();
        // A long name is set smaller, so that the verdict stays on the first page.
        let size = [21.0, 14.0]
            .into_iter()
            .find(|size| Line::of(&title, Face::Bold, *size).width <= self.width())
            .unwrap_or(10.0);
        self.paragraph(&title, Face::Bold, size, INK);
        self.y += 5.0;
    }

    /// Width between the edges.
    pub fn width(&self) -> f32 {
        self.paper.points()[0] - 2.0 * SIDE
    }

    /// Height that is left on this page.
    pub fn room(&self) -> f32 {
        self.paper.points()[1] - BOTTOM - self.y
    }

    /// Height of a page that holds nothing yet.
    pub fn whole(&self) -> f32 {
        self.paper.points()[1] - BOTTOM - TOP
    }

    /// Goes on to the next page unless so much is left on this one. What is higher than a page begins where it stands.
    pub fn keep(&mut self, height: f32) {
        if self.room() < height && height <= self.whole() {
            self.turn();
        }
    }

    /// Goes on to the next page.
    pub fn turn(&mut self) {
        let full = std::mem::replace(&mut self.page, Page::new(self.paper));
        self.done.push(full);
        self.y = TOP;
    }

    /// One line of text at a distance from the left edge; a new page where there is no room for it.
    pub fn line(&mut self, line: &Line, indent: f32, colour: Colour) {
        if self.room() < line.leading() {
            self.turn();
        }
        self.y += line.leading();
        let baseline = self.y - line.size * 0.28;
        self.page.text(&mut self.fonts, line, [SIDE + indent, baseline], colour);
    }

    /// Running text, broken into lines and over pages.
    pub fn paragraph(&mut self, text: &str, face: Face, size: f32, colour: Colour) {
        for line in Line::wrap(text, face, size, self.width()) {
            self.line(&line, 0.0, colour);
        }
    }

    /// One point of a list.
    pub fn point(&mut self, text: &str) {
        const INDENT: f32 = 10.0;
        let lines = Line::wrap(text, Face::Regular, BODY, self.width() - INDENT);
        for (i, line) in lines.iter().enumerate() {
            if i == 0 && self.room() < line.leading() {
                self.turn();
            }
            if i == 0 {
                let dash = Line::of("–", Face::Regular, BODY);
                self.page.text(&mut self.fonts, &dash, [SIDE, self.y + dash.leading() - BODY * 0.28], SOFT);
            }
            self.line(line, INDENT, INK);
        }
    }

    /// A heading with a line over it, on one page with the first `below` points of what follows.
    pub fn heading(&mut self, text: &str, below: f32) {
        self.y += 9.0;
        self.keep(HEADING * 2.2 + below);
        let [left, right] = [SIDE, SIDE + self.width()];
        self.page.line([left, self.y], [right, self.y], 0.6, RULE);
        self.y += 3.0;
        let line = Line::of(text, Face::Bold, HEADING);
        self.line(&line, 0.0, INK);
        self.y += 2.5;
    }

    /// Puts the foot under every page and makes a file of them.
    pub fn finish(mut self) -> Vec<u8> {
        self.done.push(self.page);
        let [left, right] = [SIDE, self.paper.points()[0] - SIDE];
        let y = self.paper.points()[1] - FOOT;
        let program = Line::of(&format!("Copperwalk {}", env!("CARGO_PKG_VERSION")), Face::Regular, SMALL);
        let count = self.done.len();
        for (page, number) in self.done.iter_mut().zip(1..) {
            let of = Line::of(&format!("Page {number} of {count}"), Face::Regular, SMALL);
            let room = right - left - program.width - of.width - 40.0;
            let whose = Line::cut(&format!("{} · {}", self.title, self.kind), Face::Regular, SMALL, room);
            page.line([left, y - 11.0], [right, y - 11.0], 0.6, RULE);
            page.text(&mut self.fonts, &program, [left, y], SOFT);
            let middle = (left + right - whose.width) / 2.0;
            page.text(&mut self.fonts, &whose, [middle, y], SOFT);
            page.text_to(&mut self.fonts, &of, [right, y], SOFT);
        }
        let title = format!("{} · {}", self.title, self.kind);
        document(self.done, &self.fonts, self.paper, &title)
    }
}
