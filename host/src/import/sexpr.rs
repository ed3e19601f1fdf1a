//! S-expressions: nested lists of words and quoted texts, as KiCad writes its boards.
//!
//! The whole text becomes one flat list of nodes, each of which knows where its subtree ends, so neither reading nor walking
//! recurses, however deep a hostile file nests. Text is not copied; escapes are resolved when a word is asked for.

use std::borrow::Cow;

/// Nodes a file may have. The largest demonstration board of KiCad (7 MB) has a million.
pub const MOST_NODES: usize = 12_000_000;
/// Lists inside one another. Boards nest about ten deep.
pub const MOST_DEPTH: usize = 200;

/// What is wrong with the notation, and at which byte.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SyntaxError {
    /// Byte it is about.
    pub at: usize,
    /// What is wrong, in words.
    pub what: String,
}

#[derive(Clone, Copy)]
struct Node {
    /// First byte of a word, or of a list's bracket.
    start: u32,
    /// For a word the byte behind it; for a list the index of the first node that is not inside it.
    end: u32,
    kind: Kind,
}

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    List,
    Word,
    Quoted,
}

/// A text as read.
pub struct Tree<'t> {
    text: &'t str,
    nodes: Vec<Node>,
}

/// A list or a word in a [`Tree`].
#[derive(Clone, Copy)]
pub struct Expr<'t> {
    tree: &'t Tree<'t>,
    at: usize,
}

impl<'t> Tree<'t> {
    /// Reads a text that is one list.
    ///
    /// # Errors
    /// It is not one list, ends too early, or is larger or deeper than any board.
    pub fn read(text: &'t str) -> Result<Self, SyntaxError> {
        let bytes = text.as_bytes();
        let error = |at: usize, what: String| Err(SyntaxError { at, what });
        let mut nodes: Vec<Node> = Vec::new();
        let mut open: Vec<usize> = Vec::new();
        let mut at = 0;
        while let Some(&byte) = bytes.get(at) {
            let start = at;
            if byte.is_ascii_whitespace() {
                at += 1;
                continue;
            }
            if open.is_empty() && !nodes.is_empty() {
                return error(at, "there is more behind the end of the list".into());
            }
            if open.is_empty() && byte != b'(' {
                return error(at, "a list is wanted, which begins with a bracket".into());
            }
            if nodes.len() >= MOST_NODES {
                return error(at, format!("there are more than {MOST_NODES} words and lists"));
            }
            let kind = match byte {
                b'(' => {
                    if open.len() >= MOST_DEPTH {
                        return error(at, format!("lists nest more than {MOST_DEPTH} deep"));
                    }
                    open.push(nodes.len());
                    at += 1;
                    Kind::List
                }
                b')' => {
                    let count = nodes.len() as u32;
                    if let Some(list) = open.pop().and_then(|list| nodes.get_mut(list)) {
                        list.end = count;
                    }
                    at += 1;
                    continue;
                }
                b'"' => {
                    at = behind_quote(bytes, at + 1).ok_or_else(|| SyntaxError {
                        at: start,
                        what: "the file ends inside the text that begins here".into(),
                    })?;
                    Kind::Quoted
                }
                _ => {
                    let ends = |b: &u8| b.is_ascii_whitespace() || matches!(b, b'(' | b')' | b'"');
                    at = bytes.iter().skip(at).position(ends).map_or(bytes.len(), |length| at + length);
                    Kind::Word
                }
            };
            nodes.push(Node { start: start as u32, end: at as u32, kind });
        }
        match open.last().and_then(|list| nodes.get(*list)) {
            Some(list) => error(list.start as usize, "the file ends inside the list that begins here".into()),
            None if nodes.is_empty() => error(0, "there is nothing in it".into()),
            None => Ok(Self { text, nodes }),
        }
    }

    /// The list that the text is.
    pub fn root(&self) -> Expr<'_> {
        Expr { tree: self, at: 0 }
    }
}

/// The byte behind the closing quote; a backslash takes the next character with it.
fn behind_quote(bytes: &[u8], mut at: usize) -> Option<usize> {
    loop {
        match bytes.get(at)? {
            b'"' => return Some(at + 1),
            b'\\' => at += 2,
            _ => at += 1,
        }
    }
}

impl<'t> Expr<'t> {
    fn node(self) -> Node {
        // An `Expr` is only made of an index that is there.
        self.tree.nodes.get(self.at).copied().unwrap_or(Node { start: 0, end: 0, kind: Kind::Word })
    }

    /// Byte it begins at.
    pub fn start(self) -> usize {
        self.node().start as usize
    }

    /// Is it a list?
    pub fn is_list(self) -> bool {
        self.node().kind == Kind::List
    }

    /// Is it a text in quotes?
    pub fn is_quoted(self) -> bool {
        self.node().kind == Kind::Quoted
    }

    /// What stands in a list, its first word included; nothing in a word.
    pub fn items(self) -> Items<'t> {
        let node = self.node();
        let end = if node.kind == Kind::List { node.end as usize } else { self.at };
        Items { tree: self.tree, next: self.at + 1, end }
    }

    /// What stands in a list behind its first word.
    pub fn values(self) -> impl Iterator<Item = Expr<'t>> {
        self.items().skip(1)
    }

    /// A word as it is meant: quotes taken off, escapes resolved. `None` for a list.
    pub fn word(self) -> Option<Cow<'t, str>> {
        let node = self.node();
        let raw = self.tree.text.get(node.start as usize..node.end as usize)?;
        match node.kind {
            Kind::List => None,
            Kind::Word => Some(Cow::Borrowed(raw)),
            Kind::Quoted => {
                let inner = raw.get(1..raw.len().saturating_sub(1))?;
                Some(if inner.contains('\\') { Cow::Owned(unescaped(inner)) } else { Cow::Borrowed(inner) })
            }
        }
    }

    /// First word of a list.
    pub fn head(self) -> Option<Cow<'t, str>> {
        self.items().next()?.word()
    }

    /// Does the list begin with this word?
    pub fn is(self, name: &str) -> bool {
        self.head().is_some_and(|head| head == name)
    }

    /// The first list inside that begins with this word.
    pub fn find(self, name: &str) -> Option<Expr<'t>> {
        self.items().find(|item| item.is(name))
    }

    /// The word behind the first word of the list inside that begins with `name`: of `(layer F.Cu)` it is `F.Cu`.
    pub fn text_of(self, name: &str) -> Option<Cow<'t, str>> {
        self.find(name)?.values().next()?.word()
    }

    /// Does this word stand in the list on its own?
    pub fn has_word(self, word: &str) -> bool {
        self.values().any(|item| item.word().is_some_and(|found| found == word))
    }

    /// Numbers behind the first word, up to what is none.
    pub fn numbers(self) -> impl Iterator<Item = f64> {
        self.values().map_while(Self::number)
    }

    /// A word as a number; `None` if it is none, or is not finite.
    pub fn number(self) -> Option<f64> {
        self.word()?.parse().ok().filter(|number: &f64| number.is_finite())
    }
}

fn unescaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '\\' => match letters.next() {
                Some('n') => out.push('\n'),
                Some('r') => out.push('\r'),
                Some('t') => out.push('\t'),
                Some(other) => out.push(other),
                None => {}
            },
            other => out.push(other),
        }
    }
    out
}

/// Walks a list.
pub struct Items<'t> {
    tree: &'t Tree<'t>,
    next: usize,
    end: usize,
}

impl<'t> Iterator for Items<'t> {
    type Item = Expr<'t>;

    fn next(&mut self) -> Option<Expr<'t>> {
        if self.next >= self.end {
            return None;
        }
        let item = Expr { tree: self.tree, at: self.next };
        let node = item.node();
        self.next =
            if node.kind == Kind::List { (node.end as usize).max(self.next + 1) } else { self.next + 1 };
        Some(item)
    }
}

/// The line a byte stands on, from 1.
pub fn line_of(text: &str, at: usize) -> usize {
    text.bytes().take(at).filter(|&byte| byte == b'\n').count() + 1
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "(board (version 4)\n  (name \"a \\\"b\\\" c\") () (xy 1.5 -2 x))\n";

    #[test]
    fn lists_words_and_texts() {
        let tree = Tree::read(TEXT).unwrap();
        let root = tree.root();
        assert!(root.is("board"));
        assert_eq!(root.find("version").unwrap().numbers().collect::<Vec<_>>(), [4.0]);
        assert_eq!(root.text_of("name").unwrap(), "a \"b\" c");
        assert_eq!(root.find("xy").unwrap().numbers().collect::<Vec<_>>(), [1.5, -2.0]);
        assert_eq!(root.items().count(), 5);
        assert_eq!(line_of(TEXT, root.find("name").unwrap().start()), 2);
    }

    #[test]
    fn what_is_cut_off_is_refused_at_every_length() {
        for end in 0..TEXT.trim_end().len() {
            assert!(Tree::read(&TEXT[..end]).is_err(), "{end}");
        }
    }

    #[test]
    fn depth_and_leftovers_are_refused() {
        let deep = "(".repeat(MOST_DEPTH + 1);
        assert!(Tree::read(&deep).err().unwrap().what.contains("deep"));
        assert!(Tree::read("(a) (b)").err().unwrap().what.contains("more behind"));
        assert!(Tree::read("a").err().unwrap().what.contains("a list is wanted"));
        assert!(Tree::read("(a))").err().unwrap().what.contains("more behind"));
        let many = format!("({})", "a ".repeat(MOST_NODES + 1));
        assert!(Tree::read(&many).err().unwrap().what.contains("words and lists"));
    }

    /// All texts of six letters that mean something to the reader, and one that does not.
    #[test]
    fn no_text_makes_it_panic() {
        let letters = ['(', ')', '"', '\\', 'a', ' '];
        for number in 0..letters.len().pow(6) {
            let letter = |place: u32| letters[number / letters.len().pow(place) % letters.len()];
            let text: String = std::iter::once('(').chain((0..6).map(letter)).collect();
            if let Ok(tree) = Tree::read(&text) {
                let mut queue = vec![tree.root()];
                while let Some(expr) = queue.pop() {
                    let _ = (expr.word(), expr.number());
                    queue.extend(expr.items());
                }
            }
        }
    }
}
