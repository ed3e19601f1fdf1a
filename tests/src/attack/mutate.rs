//! Bytes and texts altered at random.

/// Draws a whole number below a limit, which is not 0.
pub type Below<'b> = &'b mut dyn FnMut(usize) -> usize;

/// Alters bytes in one of the ways a line, a disk or a peer gone mad can; `noise` is the most that comes in between.
pub fn bytes(below: Below<'_>, bytes: &mut Vec<u8>, noise: usize) {
    let at = below(bytes.len() + 1);
    match below(6) {
        0 if at < bytes.len() => bytes[at] ^= 1 << below(8),
        1 => bytes.truncate(at),
        2 => bytes.insert(at, below(256) as u8),
        3 if at < bytes.len() => drop(bytes.remove(at)),
        4 => {
            let noise: Vec<u8> = (0..below(noise)).map(|_| below(256) as u8).collect();
            bytes.splice(at..at, noise);
        }
        _ => {
            // A part of it again somewhere else.
            let part = bytes[below(at + 1).min(at)..at].to_vec();
            let to = below(bytes.len() + 1);
            bytes.splice(to..to, part);
        }
    }
}

/// Values that a file may have where another stood.
const VALUES: [&str; 24] = [
    "0",
    "-1",
    "1e308",
    "nan",
    "9223372036854775808",
    "\"\"",
    "\"1 ohm\"",
    "\"1e300 ohm\"",
    "\"-0 mm\"",
    "\"1 kg\"",
    "\"ünï\"",
    "\"\\u0000\"",
    "\"\\u202e\"",
    "[]",
    "{}",
    "[[0, 0], [0, 0]]",
    "true",
    "1979-05-27",
    "'''",
    "\"a\" = 1",
    "[[]]",
    "\"1 mm\" # ",
    "{ at = [0, 0] }",
    "\"cell+\"",
];

/// Alters a text of lines: a line goes, comes twice or elsewhere, a value becomes another, or its bytes are altered.
pub fn text(below: Below<'_>, text: &mut Vec<u8>) {
    let mut lines: Vec<&[u8]> = text.split(|byte| *byte == b'\n').collect();
    let at = below(lines.len());
    match below(6) {
        0 => drop(lines.remove(at)),
        1 => lines.insert(at, lines[at]),
        2 => {
            let other = below(lines.len());
            lines.swap(at, other);
        }
        3 | 4 => {
            let Some(equals) = lines[at].iter().position(|byte| *byte == b'=') else { return };
            let line = [&lines[at][..=equals], b" ", VALUES[below(VALUES.len())].as_bytes()].concat();
            lines[at] = &line;
            *text = lines.join(&b'\n');
            return;
        }
        _ => return bytes(below, text, 64),
    }
    *text = lines.join(&b'\n');
}
