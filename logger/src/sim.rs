//! The simulated twin of the port door: lines that follow a script, on simulated time.
//!
//! Under a paused tokio clock a script with minutes of waiting runs in milliseconds.

use crate::names::Seat;
use crate::port::{OpenError, Opened, Ports};
use std::collections::{HashMap, VecDeque};
use std::future::Future;
use std::io;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll, Waker};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::Sleep;

/// One thing that happens on a simulated line.
#[derive(Clone, Debug)]
pub enum Step {
    /// These bytes arrive, all at once.
    Bytes(Vec<u8>),
    /// Nothing happens for this long.
    Wait(Duration),
    /// Nothing happens until something was written to the line since it was opened.
    AwaitWriting,
    /// The line hangs up: every further read gives `Ok(0)`.
    HangUp,
    /// One read fails with this error of the operating system.
    Fail(i32),
    /// The code that reads panics: a bug, on purpose.
    Panic,
}

/// What happens when a line is opened.
#[derive(Clone, Debug)]
pub enum Opening {
    /// The line opens and then follows the steps; after the last one it is silent.
    Line(Vec<Step>),
    /// It does not open.
    Refuse(OpenError),
}

/// Simulated lines by name. Each opening takes the next entry of that name's script;
/// a name without a script, or whose script has run out, is absent.
#[derive(Clone, Default)]
pub struct SimPorts {
    scripts: Arc<Mutex<HashMap<PathBuf, VecDeque<Opening>>>>,
    written: Arc<Mutex<HashMap<PathBuf, Vec<u8>>>>,
}

impl SimPorts {
    /// No lines yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds what happens at the next openings of `name`.
    pub fn script(self, name: &str, openings: impl IntoIterator<Item = Opening>) -> Self {
        lock(&self.scripts).entry(name.into()).or_default().extend(openings);
        self
    }

    /// Everything that was written to `name` so far.
    pub fn written(&self, name: &str) -> Vec<u8> {
        lock(&self.written).get(Path::new(name)).cloned().unwrap_or_default()
    }
}

impl Ports for SimPorts {
    fn open(&self, seat: &Seat, _baud: u32) -> Result<Opened, OpenError> {
        let name = seat.given.clone();
        let next = lock(&self.scripts).get_mut(&name).and_then(VecDeque::pop_front);
        match next {
            None => Err(OpenError::Absent(name)),
            Some(Opening::Refuse(error)) => Err(error),
            Some(Opening::Line(steps)) => {
                let line = SimLine::new(name.clone(), steps, self.written.clone());
                Ok(Opened { port: Box::new(line), device: name, seat: seat.clone() })
            }
        }
    }
}

struct SimLine {
    name: PathBuf,
    steps: VecDeque<Step>,
    waiting: Option<Pin<Box<Sleep>>>,
    reader: Option<Waker>,
    was_written: bool,
    written: Arc<Mutex<HashMap<PathBuf, Vec<u8>>>>,
}

impl SimLine {
    fn new(
        name: PathBuf,
        steps: Vec<Step>,
        written: Arc<Mutex<HashMap<PathBuf, Vec<u8>>>>,
    ) -> Self {
        let steps = steps.into();
        SimLine { name, steps, waiting: None, reader: None, was_written: false, written }
    }

    /// Hands over as much of the bytes as fits and keeps the rest.
    fn give(&mut self, mut bytes: Vec<u8>, buf: &mut ReadBuf<'_>) {
        let taken = bytes.len().min(buf.remaining());
        buf.put_slice(&bytes[..taken]);
        if taken < bytes.len() {
            self.steps.push_front(Step::Bytes(bytes.split_off(taken)));
        }
    }

    fn poll_waiting(&mut self, cx: &mut Context<'_>) -> Poll<()> {
        let Some(sleep) = &mut self.waiting else { return Poll::Ready(()) };
        std::task::ready!(sleep.as_mut().poll(cx));
        self.waiting = None;
        Poll::Ready(())
    }
}

impl AsyncRead for SimLine {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        loop {
            std::task::ready!(self.poll_waiting(cx));
            match self.steps.pop_front() {
                Some(Step::Bytes(bytes)) if bytes.is_empty() => {}
                Some(Step::Bytes(bytes)) => {
                    self.give(bytes, buf);
                    return Poll::Ready(Ok(()));
                }
                Some(Step::Wait(time)) => self.waiting = Some(Box::pin(tokio::time::sleep(time))),
                Some(Step::AwaitWriting) if self.was_written => {}
                Some(Step::AwaitWriting) => {
                    self.steps.push_front(Step::AwaitWriting);
                    self.reader = Some(cx.waker().clone());
                    return Poll::Pending;
                }
                Some(Step::HangUp) => {
                    self.steps.push_front(Step::HangUp);
                    return Poll::Ready(Ok(()));
                }
                Some(Step::Fail(code)) => {
                    return Poll::Ready(Err(io::Error::from_raw_os_error(code)));
                }
                Some(Step::Panic) => panic!("a simulated bug in the reader of a source"),
                None => return Poll::Pending,
            }
        }
    }
}

impl AsyncWrite for SimLine {
    fn poll_write(
        mut self: Pin<&mut Self>,
        _: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        lock(&self.written).entry(self.name.clone()).or_default().extend_from_slice(bytes);
        self.was_written = true;
        if let Some(waker) = self.reader.take() {
            waker.wake();
        }
        Poll::Ready(Ok(bytes.len()))
    }

    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // A panicking reader is part of the script; the data behind the lock stays whole.
    mutex.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}
