//! Server-sent events, read byte by byte (HTML standard, "Server-sent events", section "Parsing an event stream"): lines of
//! `field: value`, an empty line ends an event. Of the fields `event` and `data` are taken; the rest is passed over, as the
//! standard has it.

/// Longest event that is read, bytes. A job of a board with 300 segments has some 60,000.
const LONGEST: usize = 4 << 20;

/// An event.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Event {
    /// Its name; empty where it has none.
    pub name: String,
    /// Its data.
    pub data: String,
}

/// An event, or a line of it, is longer than any is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct TooLong;

/// What has been read of the next event.
#[derive(Debug, Default)]
pub struct Reader {
    line: Vec<u8>,
    after_return: bool,
    event: Event,
}

impl Reader {
    /// Takes a byte, and gives the event that it ends.
    ///
    /// # Errors
    /// [`TooLong`]; then nothing more is to be read.
    pub fn push(&mut self, byte: u8) -> Result<Option<Event>, TooLong> {
        // A line ends with a line feed, a carriage return, or both.
        let after_return = std::mem::replace(&mut self.after_return, byte == b'\r');
        match byte {
            b'\n' if after_return => Ok(None),
            b'\n' | b'\r' => Ok(self.line()),
            _ if self.line.len() + self.event.data.len() >= LONGEST => Err(TooLong),
            byte => {
                self.line.push(byte);
                Ok(None)
            }
        }
    }

    /// A line is whole.
    fn line(&mut self) -> Option<Event> {
        let line = String::from_utf8_lossy(&self.line).into_owned();
        self.line.clear();
        if line.is_empty() {
            let mut event = std::mem::take(&mut self.event);
            // Without data there is none.
            event.data.pop()?;
            return Some(event);
        }
        let (field, value) = line.split_once(':').unwrap_or((&line, ""));
        let value = value.strip_prefix(' ').unwrap_or(value);
        match field {
            "event" => self.event.name = value.into(),
            "data" => {
                self.event.data += value;
                self.event.data.push('\n');
            }
            _ => {}
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Vec<(String, String)> {
        let mut reader = Reader::default();
        let events = text.bytes().filter_map(|byte| reader.push(byte).unwrap());
        events.map(|event| (event.name, event.data)).collect()
    }

    /// The examples of the HTML standard, section 9.2.6 "Parsing an event stream" (texts from memory, shortened), and line ends.
    #[test]
    fn events_are_read_as_the_standard_has_it() {
        for (text, events) in [
            ("data: one\ndata: +2\ndata: 10\n\n", vec![("", "one\n+2\n10")]),
            (
                ": comment\n\ndata: first\nid: 1\n\ndata:second\nid\n\ndata:  third\n\n",
                vec![("", "first"), ("", "second"), ("", " third")],
            ),
            ("data\n\ndata\ndata\n\ndata:", vec![("", ""), ("", "\n")]),
            ("data:test\n\ndata: test\n\n", vec![("", "test"), ("", "test")]),
            ("event: a\r\ndata: {}\r\n\r\nevent: b\rdata: c\r\r", vec![("a", "{}"), ("b", "c")]),
            ("event: a\n\ndata: b\n\n", vec![("", "b")]),
            ("retry: 7\nnonsense\n\n", vec![]),
        ] {
            let expected: Vec<_> = events.iter().map(|(a, b)| ((*a).to_owned(), (*b).to_owned())).collect();
            assert_eq!(read(text), expected, "{text:?}");
        }
    }

    #[test]
    fn an_event_without_an_end_is_given_up() {
        for part in ["x", "data: x\n"] {
            let mut reader = Reader::default();
            let read =
                part.bytes().cycle().take(2 * LONGEST * part.len()).find_map(|byte| reader.push(byte).err());
            assert_eq!(read, Some(TooLong), "{part:?}");
        }
    }
}
