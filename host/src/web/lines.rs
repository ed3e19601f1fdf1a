//! Lines to callers: so many at once that file handles are left for the records, and none that holds a small answer back.

use std::{
    io,
    net::SocketAddr,
    pin::Pin,
    sync::Arc,
    task::{Context, Poll},
};

use axum::serve::Listener;
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    net::{TcpListener, TcpStream},
    sync::{OwnedSemaphorePermit, Semaphore},
};

/// Lines at once, if the system gives so many file handles: four times as many as the daemon is tested with. One that listens
/// to news takes some 30 KiB.
const MOST: usize = 4096;
/// File handles kept for the records, the controller, fixtures and photos.
const KEPT: u64 = 128;
/// File handles where the system has no such limit.
#[cfg(not(unix))]
const UNLIMITED: u64 = u64::MAX;

/// A listener that takes no more lines than there is room for; further callers wait in the system's own queue.
pub struct Lines {
    listener: TcpListener,
    room: Arc<Semaphore>,
}

impl Lines {
    /// All lines that this listener may have, once as many file handles are asked of the system as it gives.
    pub fn of(listener: TcpListener) -> Self {
        let handles = usize::try_from(raise_handles().saturating_sub(KEPT)).unwrap_or(MOST);
        Self { listener, room: Arc::new(Semaphore::new(handles.clamp(1, MOST))) }
    }
}

/// Asks the system for as many file handles as it gives without leave; how many there are.
fn raise_handles() -> u64 {
    #[cfg(unix)]
    {
        use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
        let Rlimit { current, maximum } = getrlimit(Resource::Nofile);
        match setrlimit(Resource::Nofile, Rlimit { current: maximum, maximum }) {
            Ok(()) => maximum.unwrap_or(u64::MAX),
            Err(_) => current.unwrap_or(u64::MAX),
        }
    }
    #[cfg(not(unix))]
    UNLIMITED
}

impl Listener for Lines {
    type Io = Taken;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Taken, SocketAddr) {
        if self.room.available_permits() == 0 {
            tracing::warn!("no room for another line to a caller; the next waits until one ends");
        }
        loop {
            // It is closed by nobody.
            let Ok(permit) = self.room.clone().acquire_owned().await else { continue };
            let (line, caller) = Listener::accept(&mut self.listener).await;
            // News are small, and each is to be seen at once: the system would hold them back to send more together.
            let _ = line.set_nodelay(true);
            return (Taken { line, _permit: permit }, caller);
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// A line, which gives its room back when it ends.
pub struct Taken {
    line: TcpStream,
    _permit: OwnedSemaphorePermit,
}

impl Taken {
    fn line(self: Pin<&mut Self>) -> Pin<&mut TcpStream> {
        Pin::new(&mut self.get_mut().line)
    }
}

impl AsyncRead for Taken {
    fn poll_read(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        self.line().poll_read(context, bytes)
    }
}

impl AsyncWrite for Taken {
    fn poll_write(self: Pin<&mut Self>, context: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        self.line().poll_write(context, bytes)
    }

    fn poll_flush(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.line().poll_flush(context)
    }

    fn poll_shutdown(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.line().poll_shutdown(context)
    }

    fn poll_write_vectored(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        self.line().poll_write_vectored(context, bytes)
    }

    fn is_write_vectored(&self) -> bool {
        self.line.is_write_vectored()
    }
}
