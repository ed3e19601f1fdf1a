//! Pseudo-terminals: serial devices whose other end a test holds.
#![allow(clippy::expect_used, reason = "test equipment: a failed expectation is the message")]

use std::{
    fs::OpenOptions,
    os::{fd::OwnedFd, unix::fs::symlink},
    path::Path,
};

use rustix::{
    event::{PollFd, PollFlags, Timespec, poll},
    fs::{OFlags, fcntl_setfl, rename},
    io::Errno,
    pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt},
    termios::{OptionalActions, tcgetattr, tcsetattr},
};

/// The end of a pseudo-terminal that a program does not see. Dropping it pulls the cable.
#[derive(Debug)]
pub struct Terminal(OwnedFd);

impl Terminal {
    /// Makes a new serial device, to be found at `place`, in the stead of whatever was there.
    ///
    /// # Panics
    /// If the operating system has no pseudo-terminal to give.
    pub fn at(place: &Path) -> Self {
        let terminal = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)
            .expect("a pseudo-terminal");
        grantpt(&terminal).expect("grantpt");
        unlockpt(&terminal).expect("unlockpt");
        let name = ptsname(&terminal, Vec::new()).expect("ptsname");
        let mut modes = tcgetattr(&terminal).expect("tcgetattr");
        modes.make_raw();
        tcsetattr(&terminal, OptionalActions::Now, &modes).expect("tcsetattr");
        fcntl_setfl(&terminal, OFlags::NONBLOCK).expect("fcntl");
        // A terminal that nobody has opened yet looks open; opened and closed once, it tells.
        let device = Path::new(name.to_str().expect("a path"));
        drop(OpenOptions::new().read(true).write(true).open(device));
        let fresh = place.with_extension("new");
        symlink(device, &fresh).expect("symlink");
        rename(&fresh, place).expect("rename");
        Self(terminal)
    }

    /// Whether a program has the device open.
    pub fn is_open(&self) -> bool {
        let mut state = [PollFd::new(&self.0, PollFlags::empty())];
        let _ = poll(&mut state, Some(&Timespec { tv_sec: 0, tv_nsec: 0 }));
        !state[0].revents().contains(PollFlags::HUP)
    }

    /// Waits for bytes from the program, so many nanoseconds at most and less than a second. Returns at once while no program
    /// has the device open.
    pub fn wait(&self, nanos: u32) {
        let timeout = Timespec { tv_sec: 0, tv_nsec: nanos.into() };
        let _ = poll(&mut [PollFd::new(&self.0, PollFlags::IN)], Some(&timeout));
    }

    /// What the program has written, if there is something.
    pub fn read<'b>(&self, bytes: &'b mut [u8]) -> Option<&'b [u8]> {
        // Nothing there, or nobody: both come back as an error.
        let count = rustix::io::read(&self.0, &mut *bytes).ok()?;
        (count > 0).then(|| &bytes[..count])
    }

    /// Writes what the device takes, and forgets everything when nobody is there to read it.
    pub fn write(&self, waiting: &mut Vec<u8>) {
        while !waiting.is_empty() {
            match rustix::io::write(&self.0, waiting) {
                Ok(taken) => drop(waiting.drain(..taken)),
                Err(Errno::AGAIN) => break,
                Err(_) => waiting.clear(),
            }
        }
    }
}
