//! Stopping: one handle that anybody may hold, and the reason that is told at the end.

use std::sync::Arc;
use tokio::sync::watch;

/// Why a recording ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reason {
    /// The user or the system asked for it.
    Asked,
    /// The time that was set is over.
    TimeUp,
    /// Only the reserve is left on the medium.
    SpaceUsedUp,
    /// The medium failed for longer than the patience allows.
    StorageGone,
    /// The storage thread failed: our bug.
    Failed,
}

/// How far stopping has gone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    Running,
    Finishing(Reason),
    AtOnce(Reason),
}

/// Stops a recording from any thread. Clones stop the same recording.
#[derive(Clone, Debug)]
pub struct Stop(Arc<watch::Sender<Phase>>);

impl Default for Stop {
    fn default() -> Self {
        Stop(Arc::new(watch::Sender::new(Phase::Running)))
    }
}

impl Stop {
    /// A handle for one recording, which runs.
    pub fn new() -> Self {
        Self::default()
    }

    /// Ends the recording in good order. The first reason given is the one that is told.
    pub fn finish(&self, reason: Reason) {
        self.0.send_if_modified(|phase| match phase {
            Phase::Running => {
                *phase = Phase::Finishing(reason);
                true
            }
            _ => false,
        });
    }

    /// Ends the recording without waiting for any device; what arrived is still synced.
    pub fn at_once(&self) {
        self.0.send_modify(|phase| {
            let reason = phase.reason().unwrap_or(Reason::Asked);
            *phase = Phase::AtOnce(reason);
        });
    }

    /// The first call finishes, the next one stops at once: what the interrupt key does.
    pub fn interrupt(&self) {
        if self.reason().is_some() { self.at_once() } else { self.finish(Reason::Asked) }
    }

    /// Why the recording is being stopped, if it is.
    pub fn reason(&self) -> Option<Reason> {
        self.0.borrow().reason()
    }

    /// Whether nothing may be waited for any more.
    pub fn is_at_once(&self) -> bool {
        matches!(*self.0.borrow(), Phase::AtOnce(_))
    }

    /// Returns once the recording is to end.
    pub async fn wait(&self) {
        self.until(|phase| *phase != Phase::Running).await;
    }

    /// Returns once nothing may be waited for any more.
    pub async fn wait_at_once(&self) {
        self.until(|phase| matches!(phase, Phase::AtOnce(_))).await;
    }

    async fn until(&self, reached: impl FnMut(&Phase) -> bool) {
        // The sender lives as long as `self`, so waiting cannot fail.
        let _ = self.0.subscribe().wait_for(reached).await;
    }
}

impl Phase {
    fn reason(&self) -> Option<Reason> {
        match *self {
            Phase::Running => None,
            Phase::Finishing(reason) | Phase::AtOnce(reason) => Some(reason),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_reason_is_kept_and_a_second_interrupt_ends_at_once() {
        let stop = Stop::new();
        assert_eq!(stop.reason(), None);
        stop.finish(Reason::SpaceUsedUp);
        stop.finish(Reason::Asked);
        assert!(!stop.is_at_once());
        stop.interrupt();
        assert!(stop.is_at_once());
        assert_eq!(stop.reason(), Some(Reason::SpaceUsedUp));
    }
}
