//! The simulated twin of the bus door: interfaces that follow a script, on simulated time.

use super::{Arrival, Bus, Buses, Filter, Link, OpenedBus, Raw, Ready, What};
use crate::port::OpenError;
use std::collections::{HashMap, VecDeque};
use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::{Instant, sleep_until};

/// One thing that happens to a simulated interface.
#[derive(Clone, Debug)]
pub enum Step {
    /// These arrive, all at once.
    Frames(Vec<Arrival>),
    /// Nothing happens for this long.
    Wait(Duration),
    /// The interface is in this state from now on; nobody is told.
    Link(Link),
    /// The next read fails with this error of the operating system.
    Fail(i32),
    /// The code that reads panics: a bug, on purpose.
    Panic,
}

/// What happens when an interface is opened.
#[derive(Clone, Debug)]
pub enum Opening {
    /// It opens in this state and then follows the steps; after the last one it is silent.
    Bus(Link, Vec<Step>),
    /// It does not open.
    Refuse(OpenError),
}

/// Simulated interfaces by name. Each opening takes the next entry of that name's script; a name
/// without a script, or whose script has run out, is absent.
#[derive(Clone, Default)]
pub struct SimBuses {
    scripts: Arc<Mutex<HashMap<String, VecDeque<Opening>>>>,
    asked: Arc<Mutex<Vec<Filter>>>,
}

impl SimBuses {
    /// No interfaces yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds what happens at the next openings of `name`.
    pub fn script(self, name: &str, openings: impl IntoIterator<Item = Opening>) -> Self {
        lock(&self.scripts).entry(name.into()).or_default().extend(openings);
        self
    }

    /// The filters of the last opening.
    pub fn filters(&self) -> Vec<Filter> {
        lock(&self.asked).clone()
    }
}

impl Buses for SimBuses {
    fn open(&self, name: &str, filters: &[Filter]) -> Result<OpenedBus, OpenError> {
        *lock(&self.asked) = filters.to_vec();
        match lock(&self.scripts).get_mut(name).and_then(VecDeque::pop_front) {
            None => Err(OpenError::Absent(name.into())),
            Some(Opening::Refuse(error)) => Err(error),
            Some(Opening::Bus(link, steps)) => {
                let bus = SimBus { link, steps: steps.into(), until: Instant::now() };
                Ok(OpenedBus { bus: Box::new(bus), name: name.into(), notes: Vec::new() })
            }
        }
    }
}

/// A classic frame with an id of 11 bits, received `age_ns` before it is read.
pub fn frame(id: u16, data: &[u8], age_ns: i64) -> Arrival {
    let mut room = [0; 64];
    let length = data.len().min(8);
    room[..length].copy_from_slice(&data[..length]);
    let raw = Raw { word: id.into(), length: length as u8, fd_flags: 0, data: room };
    Arrival { stamp_ns: Some(1_000_000_000), age_ns, lost: 0, what: What::Frame(raw) }
}

struct SimBus {
    link: Link,
    steps: VecDeque<Step>,
    /// Nothing happens before.
    until: Instant,
}

impl SimBus {
    /// Steps over what needs no reader; whether something for a reader comes next.
    fn advance(&mut self) -> bool {
        while Instant::now() >= self.until {
            match self.steps.front() {
                Some(Step::Wait(time)) => self.until += *time,
                Some(Step::Link(link)) => self.link = *link,
                Some(Step::Frames(_) | Step::Fail(_) | Step::Panic) => return true,
                None => return false,
            }
            self.steps.pop_front();
        }
        false
    }
}

impl Bus for SimBus {
    fn ready(&mut self) -> Ready<'_> {
        Box::pin(async {
            while !self.advance() {
                if self.steps.is_empty() {
                    std::future::pending::<()>().await;
                }
                sleep_until(self.until).await;
            }
            Ok(())
        })
    }

    fn take(&mut self, into: &mut Vec<Arrival>) -> io::Result<bool> {
        if !self.advance() {
            return Ok(false);
        }
        match self.steps.pop_front() {
            Some(Step::Frames(frames)) => into.extend(frames),
            Some(Step::Fail(code)) => return Err(io::Error::from_raw_os_error(code)),
            Some(Step::Panic) => panic!("a simulated bug in the reader of a bus"),
            _ => return Ok(false),
        }
        Ok(true)
    }

    fn link(&mut self) -> Link {
        self.advance();
        self.link
    }
}

fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // A panicking reader is part of the script; the data behind the lock stays whole.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
