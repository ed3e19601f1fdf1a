//! A Gerber file as commands: words that end with `*`, and extended commands between two `%`.

use crate::import::sexpr::SyntaxError;

/// What is read of a file, in order.
pub struct Commands<'t> {
    text: &'t str,
    at: usize,
}

/// One command.
#[derive(PartialEq, Debug)]
pub struct Command {
    /// The byte it begins at.
    pub at: usize,
    /// Its words without `*` and line breaks; several only in an extended command.
    pub words: Vec<String>,
    /// Did it stand between two `%`, or as an attribute in a comment?
    pub extended: bool,
}

/// Attributes may stand in comments, so that readers of the older format pass over them.
const IN_COMMENT: &str = "#@!";

impl<'t> Commands<'t> {
    /// From the beginning of a text.
    pub fn new(text: &'t str) -> Self {
        Self { text, at: 0 }
    }

    fn read(&mut self) -> Result<Option<Command>, SyntaxError> {
        let rest = self.text.get(self.at..).unwrap_or_default();
        let at = self.at + rest.len() - rest.trim_start().len();
        let rest = rest.trim_start();
        if rest.is_empty() {
            return Ok(None);
        }
        let error = |what: &str| SyntaxError { at, what: what.into() };
        let unbroken = |word: &str| word.replace(['\r', '\n'], "").trim().to_owned();
        if let Some(inner) = rest.strip_prefix('%') {
            let (body, _) = inner
                .split_once('%')
                .ok_or_else(|| error("a command that begins with % lacks its second %"))?;
            self.at = at + body.len() + 2;
            let (words, last) =
                body.rsplit_once('*').ok_or_else(|| error("a command between two % lacks its *"))?;
            if !last.trim().is_empty() {
                return Err(error("a command between two % does not end with *"));
            }
            let words = words.split('*').map(unbroken).collect();
            return Ok(Some(Command { at, words, extended: true }));
        }
        let (word, _) = rest.split_once('*').ok_or_else(|| error("a command does not end with *"))?;
        self.at = at + word.len() + 1;
        let word = unbroken(word);
        let comment = word.strip_prefix("G04").or_else(|| word.strip_prefix("G4 ")).map(str::trim);
        if comment.is_none() && word.contains('%') {
            return Err(error("a command does not end with * before the next %"));
        }
        Ok(Some(match comment {
            Some(comment) => {
                let attribute = comment.strip_prefix(IN_COMMENT).map(|text| text.trim().to_owned());
                Command { at, extended: true, words: attribute.into_iter().collect() }
            }
            None => Command { at, extended: false, words: vec![word] },
        }))
    }
}

impl Iterator for Commands<'_> {
    type Item = Result<Command, SyntaxError>;

    fn next(&mut self) -> Option<Self::Item> {
        self.read().transpose()
    }
}
