//! An instrument at a device file of the USB test and measurement class, as Linux has them (`/dev/usbtmc0`): a write is one message, a read
//! the whole answer. The driver gives up on an answer by itself.

use std::{
    fs::{File, OpenOptions},
    io::{Read, Write},
    path::Path,
    time::Duration,
};

use super::{CannotReach, LONGEST, Line, LineError};

/// A line over a device file.
#[derive(Debug)]
pub struct UsbTmcLine(File);

impl UsbTmcLine {
    /// Opens the device.
    ///
    /// # Errors
    /// A file that is not there or not allowed.
    pub fn open(path: &Path) -> Result<Self, CannotReach> {
        let file = OpenOptions::new().read(true).write(true).open(path);
        file.map(Self)
            .map_err(|error| CannotReach { place: path.display().to_string(), why: error.to_string() })
    }
}

impl Line for UsbTmcLine {
    fn send(&mut self, text: &str) -> Result<(), LineError> {
        Ok(self.0.write_all(format!("{text}\n").as_bytes())?)
    }

    fn receive(&mut self, _within: Duration) -> Result<String, LineError> {
        let mut answer = vec![0; LONGEST];
        let count = self.0.read(&mut answer)?;
        answer.truncate(count);
        if answer.is_empty() {
            return Err(LineError::Silent);
        }
        Ok(String::from_utf8_lossy(&answer).trim().to_owned())
    }
}
