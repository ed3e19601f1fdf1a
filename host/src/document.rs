//! TOML documents read without stopping at the first mistake.
//!
//! A [`Sheet`] is one file being read together with what was found wrong in it. Every question that can be put to
//! it ([`Table`], [`Item`]) answers `Result<_, Told>`: a [`Told`] exists only after a problem was noted, so whoever
//! passes it on with `?` need not report again, and a reader that ends with `Err(Told)` certainly has something
//! to show. Read [`crate::problem`] first.

use std::cell::RefCell;
use std::io::Read;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use sha2::Digest;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::problem::{Grade, Problem, Problems, SourceText};
use crate::quantity::{self, Unit, clip};

/// Largest file that is read. A board of 1,000 segments takes a tenth of this.
pub const MAX_BYTES: u64 = 1 << 20;

/// Proof that a problem has been noted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Told(());

/// A file being read, and what was found wrong in it so far.
pub struct Sheet {
    text: String,
    shown: Arc<SourceText>,
    problems: RefCell<Vec<Problem>>,
}

impl Sheet {
    /// A text that is already in memory.
    pub fn new(name: &str, text: &str) -> Self {
        Self {
            text: text.to_owned(),
            shown: Arc::new(SourceText::new(name, text)),
            problems: RefCell::default(),
        }
    }

    /// A file.
    ///
    /// # Errors
    /// Missing, a folder, not readable, larger than [`MAX_BYTES`], or not UTF-8.
    pub fn open(path: &Path) -> Result<Self, Problems> {
        let name = path.display().to_string();
        let refuse = |message: String, help: &str| {
            let sheet = Self::new(&name, "");
            sheet.refuse(None, message, help);
            sheet.into_problems()
        };
        let unreadable = |error: std::io::Error| {
            let help = match error.kind() {
                std::io::ErrorKind::NotFound => "check the path",
                std::io::ErrorKind::IsADirectory => "name the file inside the folder",
                _ => "check the file and its permissions",
            };
            refuse(format!("{name} cannot be read: {error}"), help)
        };
        if path.is_dir() {
            return Err(refuse(format!("{name} is a folder"), "name the file inside the folder"));
        }
        let file = std::fs::File::open(path).map_err(unreadable)?;
        let mut bytes = Vec::new();
        file.take(MAX_BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
        if bytes.len() as u64 > MAX_BYTES {
            let message = format!("{name} is larger than {} KiB", MAX_BYTES / 1024);
            return Err(refuse(
                message,
                "no board or fixture file is that large; check that it is the right file",
            ));
        }
        let text = String::from_utf8(bytes).map_err(|error| {
            let at = error.utf8_error().valid_up_to();
            refuse(format!("{name} is not UTF-8 text: byte {at} does not belong"), "save the file as UTF-8")
        })?;
        Ok(Self::new(&name, &text))
    }

    /// The file's text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// SHA-256 of the file's bytes, lower-case hex: what a record names the file by.
    pub fn hash(&self) -> String {
        sha2::Sha256::digest(self.text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// Notes an error.
    pub fn refuse(
        &self,
        span: Option<Range<usize>>,
        message: impl Into<String>,
        help: impl Into<String>,
    ) -> Told {
        self.note(Grade::Error, span, message.into(), help.into())
    }

    /// Notes a warning.
    pub fn warn(&self, span: Option<Range<usize>>, message: impl Into<String>, help: impl Into<String>) {
        self.note(Grade::Warning, span, message.into(), help.into());
    }

    fn note(&self, grade: Grade, span: Option<Range<usize>>, message: String, help: String) -> Told {
        self.problems.borrow_mut().push(Problem {
            file: Arc::clone(&self.shown),
            span,
            grade,
            message,
            help,
        });
        Told(())
    }

    /// Fails if anything noted so far makes the file unusable.
    ///
    /// # Errors
    /// An error was noted.
    pub fn sound(&self) -> Result<(), Told> {
        match self.problems.borrow().iter().any(|problem| problem.grade == Grade::Error) {
            true => Err(Told(())),
            false => Ok(()),
        }
    }

    /// Everything noted, in the order of the text.
    pub fn into_problems(self) -> Problems {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|problem| problem.span.as_ref().map_or(0, |span| span.start));
        Problems(problems)
    }

    /// Parses the text. Slips of syntax are all noted at once; what they leave is not worth judging.
    ///
    /// # Errors
    /// The text is empty or not TOML.
    pub fn document(&self) -> Result<Spanned<DeTable<'_>>, Told> {
        if self.text.trim().is_empty() {
            return Err(self.refuse(
                None,
                format!("{} is empty", self.shown.name()),
                "start with `format = 1`",
            ));
        }
        let (document, errors) = DeTable::parse_recoverable(&self.text);
        let told = errors.iter().map(|error| {
            let message = format!("this is not TOML: {}", error.message());
            self.refuse(error.span().or(Some(0..0)), message, "see https://toml.io for the notation")
        });
        told.last().map_or(Ok(document), Err)
    }
}

/// A table of the document, with a title that messages call it by.
pub struct Table<'d> {
    sheet: &'d Sheet,
    entries: &'d DeTable<'d>,
    /// Where it stands: the header, or the inline table.
    pub span: Range<usize>,
    /// `[supply]`, `segment "tail trace"` …
    pub title: String,
}

impl<'d> Table<'d> {
    /// The whole document as a table.
    pub fn root(sheet: &'d Sheet, document: &'d Spanned<DeTable<'d>>) -> Self {
        Self { sheet, entries: document.get_ref(), span: 0..0, title: "the file".into() }
    }

    /// Reads `format`, which says how everything else is to be read.
    ///
    /// # Errors
    /// Missing, or another one than this program reads: then nothing else can be judged.
    pub fn format(&self, known: u32) -> Result<(), Told> {
        let item = self.must("format", &format!("`format = {known}` as the first line"))?;
        match item.whole(0, u32::MAX)? {
            format if format == known => Ok(()),
            format => Err(item.refuse(
                format!("format {format} is not known to this program, which reads format {known}"),
                "use a program as new as the file, or bring the file to the format this one reads",
            )),
        }
    }

    /// The tables of a `[[key]]` list, in order; empty if there are none.
    pub fn tables(&self, key: &'static str) -> Result<Vec<Item<'d>>, Told> {
        self.item(key).map_or(Ok(Vec::new()), |item| item.list(&format!("write each as `[[{key}]]`")))
    }

    /// The value under a key, if it is there.
    pub fn item(&self, key: &'static str) -> Option<Item<'d>> {
        let value = self.entries.get(key)?;
        Some(Item::new(self.sheet, &self.title, key, value))
    }

    /// The value under a key that must be there; `example` shows how it is written.
    pub fn must(&self, key: &'static str, example: &str) -> Result<Item<'d>, Told> {
        self.item(key).ok_or_else(|| {
            let message = format!("{} lacks `{key}`", self.title);
            self.refuse(message, format!("add {example}"))
        })
    }

    /// Every key, with where it stands, and its value, in the order of the file.
    pub fn items(&self) -> Vec<(&'d str, Range<usize>, Item<'d>)> {
        let mut items: Vec<_> = self
            .entries
            .iter()
            .map(|(key, value)| {
                let name: &'d str = key.get_ref();
                (name, key.span(), Item::new(self.sheet, &self.title, name, value))
            })
            .collect();
        items.sort_by_key(|(_, span, _)| span.start);
        items
    }

    /// Notes every key that is not one of these, with the nearest one that is.
    pub fn only(&self, keys: &[&str]) {
        for (key, span, _) in self.items() {
            if keys.contains(&key) {
                continue;
            }
            let message = format!("{} has no key `{}`", self.title, clip(key));
            self.sheet.refuse(Some(span), message, suggestion(key, keys));
        }
    }

    /// Notes a key that names nothing that is known.
    pub fn unknown(&self, kind: &str, key: &str, span: Range<usize>, known: &[&str]) -> Told {
        let message = format!("{} names the {kind} `{}`, which does not exist", self.title, clip(key));
        self.sheet.refuse(Some(span), message, suggestion(key, known))
    }

    /// Notes an error about the table as a whole.
    pub fn refuse(&self, message: String, help: impl Into<String>) -> Told {
        self.sheet.refuse(Some(self.span.clone()), message, help)
    }
}

/// A value, with the words to name it in a message.
#[derive(Clone)]
pub struct Item<'d> {
    sheet: &'d Sheet,
    value: &'d DeValue<'d>,
    /// Where it stands.
    pub span: Range<usize>,
    /// `width of segment "tail trace"`.
    what: String,
}

impl<'d> Item<'d> {
    fn new(sheet: &'d Sheet, title: &str, key: &str, value: &'d Spanned<DeValue<'d>>) -> Self {
        let what = format!("`{}` of {title}", clip(key));
        Self { sheet, value: value.get_ref(), span: value.span(), what }
    }

    /// Notes an error about this value.
    pub fn refuse(&self, message: impl Into<String>, help: impl Into<String>) -> Told {
        self.sheet.refuse(Some(self.span.clone()), message, help)
    }

    /// Notes a warning about this value.
    pub fn warn(&self, message: impl Into<String>, help: impl Into<String>) {
        self.sheet.warn(Some(self.span.clone()), message, help);
    }

    fn wrong_type(&self, wanted: &str, help: &str) -> Told {
        self.refuse(format!("{} is {}; {wanted} is wanted", self.what, article(self.value.type_str())), help)
    }

    /// A text.
    pub fn text(&self) -> Result<&'d str, Told> {
        self.value.as_str().ok_or_else(|| self.wrong_type("a text", "put it in quotes"))
    }

    /// A name: a text that fits on a line of a report. [`NAME_LONGEST`] characters, none of them a control.
    pub fn name(&self) -> Result<&'d str, Told> {
        let text = self.text()?;
        check_name(text).map_err(|(what, help)| self.refuse(format!("{} {what}", self.what), help))
    }

    /// A quantity within bounds, both included, in the unit it is kept in.
    pub fn quantity(&self, unit: Unit, least: f64, most: f64) -> Result<f64, Told> {
        let Some(text) = self.value.as_str() else {
            let message = match self.value {
                DeValue::Integer(_) | DeValue::Float(_) => format!("{} has no unit", self.what),
                other => format!("{} is {}; a quantity is wanted", self.what, article(other.type_str())),
            };
            return Err(self.refuse(message, format!("write {}", unit.example())));
        };
        let value = quantity::parse(text, unit)
            .map_err(|error| self.refuse(format!("{}: {}", self.what, error.what), error.help))?;
        if value < least || value > most {
            let message = format!("{} is {}", self.what, clip(text));
            let help = format!("from {} to {} belongs here", unit.show(least), unit.show(most));
            return Err(self.refuse(message, help));
        }
        Ok(value)
    }

    /// The quantity if it is one, for comparing with another; says nothing if it is not.
    pub fn peek(&self, unit: Unit) -> Option<f64> {
        quantity::parse(self.value.as_str()?, unit).ok()
    }

    /// A whole number within bounds, both included.
    pub fn whole(&self, least: u32, most: u32) -> Result<u32, Told> {
        let help = format!("a whole number from {least} to {most} belongs here");
        let Some(number) = self.value.as_integer() else {
            return Err(self.wrong_type("a whole number", &help));
        };
        i64::from_str_radix(number.as_str(), number.radix())
            .ok()
            .and_then(|number| u32::try_from(number).ok())
            .filter(|number| (least..=most).contains(number))
            .ok_or_else(|| self.refuse(format!("{} is {}", self.what, clip(number.as_str())), help))
    }

    /// A number of millimetres: coordinates are the one place where the unit is said once for all.
    pub fn millimetres(&self) -> Result<f64, Told> {
        const FARTHEST: f64 = 2000.0;
        let help = "write millimetres as bare numbers, such as [6.0, 31.0]";
        let number = match self.value {
            DeValue::Integer(number) => number.as_str().parse::<f64>().ok(),
            DeValue::Float(number) => number.as_str().parse::<f64>().ok(),
            _ => return Err(self.wrong_type("a number", help)),
        };
        number
            .filter(|number| number.abs() <= FARTHEST)
            .ok_or_else(|| self.refuse(format!("{} is not within ±{FARTHEST} mm", self.what), help))
    }

    /// A pair.
    pub fn pair(&self, help: &str) -> Result<[Item<'d>; 2], Told> {
        let items = self.list(help)?;
        let count = items.len();
        <[Item; 2]>::try_from(items)
            .map_err(|_| self.refuse(format!("{} has {count} entries; two are wanted", self.what), help))
    }

    /// A list.
    pub fn list(&self, help: &str) -> Result<Vec<Item<'d>>, Told> {
        let Some(array) = self.value.as_array() else {
            return Err(self.wrong_type("a list", help));
        };
        let element = |value: &'d Spanned<DeValue<'d>>| Item {
            sheet: self.sheet,
            value: value.get_ref(),
            span: value.span(),
            what: self.what.clone(),
        };
        Ok(array.iter().map(element).collect())
    }

    /// Is it a list?
    pub fn is_list(&self) -> bool {
        self.value.is_array()
    }

    /// A table, called by this title in messages.
    pub fn table(&self, title: impl Into<String>, help: &str) -> Result<Table<'d>, Told> {
        let Some(entries) = self.value.as_table() else {
            return Err(self.wrong_type("a table", help));
        };
        Ok(Table { sheet: self.sheet, entries, span: self.span.clone(), title: title.into() })
    }

    /// One of a few words.
    pub fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Result<T, Told> {
        let word = self.text()?;
        if let Some((_, choice)) = choices.iter().find(|(name, _)| *name == word) {
            return Ok(*choice);
        }
        let words: Vec<_> = choices.iter().map(|(name, _)| *name).collect();
        Err(self.refuse(
            format!("{} is `{}`, which is none of the words known here", self.what, clip(word)),
            suggestion(word, &words),
        ))
    }

    /// The position of a name that must be known already.
    pub fn known(&self, kind: &str, names: &[&str]) -> Result<usize, Told> {
        let word = self.text()?;
        names.iter().position(|name| *name == word).ok_or_else(|| {
            let message = format!("{} names the {kind} `{}`, which does not exist", self.what, clip(word));
            self.refuse(message, suggestion(word, names))
        })
    }
}

/// Longest name in characters: two of them still fit a line of a report.
pub const NAME_LONGEST: usize = 40;

/// The text, if it is a name; else what is wrong with it, and what would be right.
pub fn check_name(text: &str) -> Result<&str, (String, String)> {
    let letters = text.chars().count();
    if letters > NAME_LONGEST {
        let help = format!("at most {NAME_LONGEST} characters fit a report");
        return Err((format!("`{}` has {letters} characters", clip(text)), help));
    }
    if text.trim().is_empty() {
        return Err(("is empty".into(), "give it a name".into()));
    }
    if text.chars().any(char::is_control) || text.trim() != text {
        let what = format!(
            "`{}` has control characters, or blanks at an end",
            clip(&text.escape_debug().to_string())
        );
        return Err((what, "use letters, digits, inner blanks and signs".into()));
    }
    // A short is reported as `POINT~POINT`, a fault is asked for as `NAME=open`.
    if text.contains(['~', '=']) {
        return Err((
            format!("`{text}` contains `~` or `=`"),
            "these two join names in reports and commands".into(),
        ));
    }
    Ok(text)
}

/// What to say when a word is none of those known.
pub fn suggestion(word: &str, known: &[&str]) -> String {
    const SHOWN: usize = 12;
    match nearest(word, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => "none is defined".into(),
        None if known.len() <= SHOWN => format!("known: {}", known.join(", ")),
        None => format!("known: {} and {} more", known[..SHOWN].join(", "), known.len() - SHOWN),
    }
}

/// The known word that differs by the fewest letters, if that is few enough to be a slip.
fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    if word.chars().count() > NAME_LONGEST {
        return None;
    }
    let slips = (word.chars().count() / 3).clamp(1, 3);
    known
        .map(|name| (letters_apart(word, name), name))
        .filter(|(apart, _)| *apart <= slips)
        .min_by_key(|(apart, _)| *apart)
        .map(|(_, name)| name)
}

/// Letters to insert, drop or change to get from one word to the other (Levenshtein's distance).
pub(crate) fn letters_apart(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, letter) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, other) in b.iter().enumerate() {
            let change = diagonal + usize::from(letter != *other);
            diagonal = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

fn article(type_name: &str) -> String {
    let vowel = type_name.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {type_name}", if vowel { "an" } else { "a" })
}
