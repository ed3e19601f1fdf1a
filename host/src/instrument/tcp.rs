//! An instrument at a network address.

use std::{
    io::{ErrorKind, Read, Write},
    net::{TcpStream, ToSocketAddrs},
    time::{Duration, Instant},
};

use super::{CannotReach, Line, LineError, first_line};

/// An instrument on the same network takes a call within this.
const CALL: Duration = Duration::from_secs(4);

/// A line over TCP.
#[derive(Debug)]
pub struct TcpLine {
    stream: TcpStream,
    buffer: Vec<u8>,
}

impl TcpLine {
    /// Calls the instrument.
    ///
    /// # Errors
    /// A name that nobody knows, an address where nobody answers.
    pub fn open(host: &str, port: u16) -> Result<Self, CannotReach> {
        let cannot = |why: String| CannotReach { place: format!("{host}:{port}"), why };
        let addresses = (host, port).to_socket_addrs().map_err(|error| cannot(error.to_string()))?;
        let mut why = "the name has no address".to_owned();
        for address in addresses {
            let called = TcpStream::connect_timeout(&address, CALL)
                .and_then(|stream| stream.set_nodelay(true).map(|()| stream));
            match called {
                Ok(stream) => return Ok(Self { stream, buffer: Vec::new() }),
                Err(error) => why = error.to_string(),
            }
        }
        Err(cannot(why))
    }
}

impl Line for TcpLine {
    fn send(&mut self, text: &str) -> Result<(), LineError> {
        // What came late is no answer to what is asked now.
        self.buffer.clear();
        Ok(self.stream.write_all(format!("{text}\n").as_bytes())?)
    }

    fn receive(&mut self, within: Duration) -> Result<String, LineError> {
        let until = Instant::now() + within;
        loop {
            if let Some(line) = first_line(&mut self.buffer) {
                return Ok(line);
            }
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(LineError::Silent);
            }
            self.stream.set_read_timeout(Some(left))?;
            let mut piece = [0; 256];
            match self.stream.read(&mut piece) {
                Ok(0) => return Err(LineError::Cut("the other end closed it".into())),
                Ok(count) => self.buffer.extend(piece.iter().take(count)),
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error.into()),
            }
        }
    }
}
