//! The recording: opens the sources, makes the capture, reads until stopped, closes.

use crate::bus::{Buses, Filter, HostBuses};
use crate::clock::{HostClock, ScaledClock};
use crate::error::{EXIT_DONE, EXIT_HOLES, EXIT_STORAGE, Error};
use crate::folder::{Folder, free_bytes, refuse_existing, refuse_full};
use crate::inventory::cure;
use crate::names::SERIAL_LINKS;
use crate::port::{OpenError, Ports, SerialPorts};
use crate::queue::Queue;
use crate::recovery::settle_all;
use crate::settings::{Settings, SourceKind, seconds};
use crate::source::{Door, Shared, Source};
use crate::status::{Message, Snapshot, Status, Weight};
use crate::stop::{Reason, Stop};
use crate::store::{Kept, Store, Target, Ties};
use crate::tap::{Tap, Taps};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::Receiver;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::oneshot;
use wheelwitness_capture::clock::Clock;
use wheelwitness_capture::record::{Kind, MAX_RECORD_BYTES, RECORDER, Text, title};

/// How long a last sync may take when the recording is ended at once.
const LAST_SYNC_WAIT: Duration = Duration::from_secs(2);
/// How long a device that is being opened may hold up the end of the program.
const OPENING_WAIT: Duration = Duration::from_millis(100);

/// A recording that is ready to run.
///
/// ```no_run
/// use wheelwitness_logger::recorder::Recorder;
/// use wheelwitness_logger::settings::{SourceSettings, Typed};
///
/// let board: SourceSettings = "board=/dev/serial/by-id/board-17,pulse-board".parse()?;
/// let (into, sources) = (Some("drives/first".into()), vec![board.into()]);
/// let typed = Typed { into, sources, ..Typed::default() };
/// let recorder = Recorder::new(typed.meant()?);
/// let stop = recorder.stop(); // give it to whoever may end the recording
/// let ended = recorder.run()?;
/// println!("{} records, exit code {}", ended.kept.records, ended.exit_code());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Recorder {
    settings: Settings,
    clock: Arc<dyn Clock>,
    ports: Arc<dyn Ports>,
    buses: Arc<dyn Buses>,
    taps: Vec<Box<dyn Tap>>,
    status: Arc<Status>,
    messages: Option<Receiver<Message>>,
    stop: Stop,
    signals: bool,
}

/// How a recording ended.
#[derive(Clone, Debug)]
pub struct Ended {
    /// Why.
    pub reason: Reason,
    /// What was kept.
    pub kept: Kept,
    /// The last state of everything.
    pub last: Snapshot,
}

impl Recorder {
    /// A recording from the serial lines and CAN interfaces of this computer, on its own clock
    /// (scaled if the settings say so).
    pub fn new(settings: Settings) -> Self {
        let clock: Arc<dyn Clock> = match settings.clock_scale {
            Some(scale) => Arc::new(ScaledClock::new(HostClock, scale)),
            None => Arc::new(HostClock),
        };
        Self::with_doors(settings, clock, Arc::new(SerialPorts::new(SERIAL_LINKS)))
    }

    /// A recording through other doors, for example simulated ones.
    pub fn with_doors(settings: Settings, clock: Arc<dyn Clock>, ports: Arc<dyn Ports>) -> Self {
        let (status, messages) = Status::new(clock.clone(), &settings.sources);
        let messages = Some(messages);
        Recorder {
            settings,
            clock,
            ports,
            buses: Arc::new(HostBuses),
            taps: vec![],
            status,
            messages,
            stop: Stop::new(),
            signals: false,
        }
    }

    /// Takes CAN interfaces from another door than that of this computer.
    #[must_use]
    pub fn buses(mut self, buses: Arc<dyn Buses>) -> Self {
        self.buses = buses;
        self
    }

    /// Adds a listener to the records.
    #[must_use]
    pub fn tap(mut self, tap: Box<dyn Tap>) -> Self {
        self.taps.push(tap);
        self
    }

    /// Lets the interrupt key and the termination signal end the recording: the first one in good
    /// order, the second one at once. A terminal that goes away does not end it.
    #[must_use]
    pub fn heed_signals(mut self) -> Self {
        self.signals = true;
        self
    }

    /// A handle that ends the recording.
    pub fn stop(&self) -> Stop {
        self.stop.clone()
    }

    /// What the recording is doing, for a status line or a live view.
    pub fn status(&self) -> Arc<Status> {
        self.status.clone()
    }

    /// The messages for the user; they go unread if nobody takes them. Only the first call has
    /// them.
    pub fn messages(&mut self) -> Option<Receiver<Message>> {
        self.messages.take()
    }

    /// Records until stopped. `Err` means that nothing was recorded.
    pub fn run(mut self) -> Result<Ended, Error> {
        let texts = self.texts()?;
        for folder in self.folders() {
            refuse_existing(folder)?;
            refuse_full(folder, u64::from(self.settings.limits.reserve_mib) << 20)?;
        }
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|e| Error::Device(format!("cannot begin: {e}")))?;
        let ended = runtime.block_on(self.record(texts));
        runtime.shutdown_timeout(OPENING_WAIT);
        ended
    }

    async fn record(&mut self, texts: Vec<(u16, Text)>) -> Result<Ended, Error> {
        let queue = Arc::new(self.queue());
        let shared = Arc::new(self.shared(queue.clone()));
        let numbered = (0u16..).zip(&self.settings.sources);
        let sources: Vec<_> =
            numbered.map(|(n, s)| Source::new(shared.clone(), n, s.clone())).collect();
        let opened = self.open_all(&sources).await?;
        let (store, _folders) = self.open_store(queue.clone(), texts)?;
        self.arm()?;
        let settling = self.settle_others();
        let kept = spawn_store(store, self.stop.clone());
        let reading = sources.into_iter().zip(opened);
        let tasks: Vec<_> =
            reading.map(|(source, opened)| tokio::spawn(source.keep_alive(opened))).collect();
        for task in tasks {
            // A reader's panic is caught and told further in; the other readers go on.
            let _ = task.await;
        }
        queue.close();
        let ended = self.await_store(kept).await;
        if !self.stop.is_at_once() {
            // Panicked: our bug, but none that this recording suffers from.
            let _ = settling.join();
        }
        ended
    }

    /// Looks for recordings beside this one that were cut off; holds up nothing.
    fn settle_others(&self) -> std::thread::JoinHandle<()> {
        let beside = |folder: &Path| match folder.parent() {
            Some(parent) if parent != Path::new("") => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        let mut parents: Vec<PathBuf> = self.folders().map(beside).collect();
        parents.dedup();
        let status = self.status.clone();
        std::thread::spawn(move || {
            let mut tell = |text: String| status.tell(Weight::Warning, text);
            parents.iter().for_each(|parent| settle_all(parent, &mut tell));
        })
    }

    /// The texts that open the capture: names, settings, the vehicle file.
    fn texts(&self) -> Result<Vec<(u16, Text)>, Error> {
        let mut texts = Vec::new();
        for (number, source) in (0u16..).zip(&self.settings.sources) {
            texts.push((number, Text::new(title::SOURCE_NAME, &source.name)));
            texts.push((number, Text::new(title::SOURCE_KIND, source.kind.name())));
            if !source.filters.is_empty() {
                let lines: Vec<_> = source.filters.iter().map(Filter::to_string).collect();
                texts.push((number, Text::new(title::SOURCE_FILTERS, &lines.join("\n"))));
            }
        }
        texts.push((RECORDER, Text::new(title::LOGGER_SETTINGS, &self.settings.to_toml())));
        if let Some(scale) = self.settings.clock_scale {
            texts.push((RECORDER, Text::new(title::CLOCK_SCALE, &scale.to_string())));
        }
        if let Some(path) = &self.settings.vehicle {
            texts.push((RECORDER, Text::new(title::VEHICLE_FILE, &read_vehicle(path)?)));
        }
        Ok(texts)
    }

    fn folders(&self) -> impl Iterator<Item = &Path> {
        std::iter::once(self.settings.into.as_path()).chain(self.settings.spare.as_deref())
    }

    fn queue(&self) -> Queue<crate::source::Event> {
        let priority = |kind| match kind {
            SourceKind::PulseBoard => 3,
            SourceKind::Gnss | SourceKind::Can | SourceKind::SerialCan => 2,
            SourceKind::Other => 1,
        };
        let lanes: Vec<u8> = self.settings.sources.iter().map(|s| priority(s.kind)).collect();
        Queue::new(&lanes, self.settings.limits.queue_mib as usize * 1024 * 1024)
    }

    fn shared(&self, queue: Arc<Queue<crate::source::Event>>) -> Shared {
        Shared {
            clock: self.clock.clone(),
            ports: self.ports.clone(),
            buses: self.buses.clone(),
            queue,
            status: self.status.clone(),
            stop: self.stop.clone(),
            limits: self.settings.limits.clone(),
            clock_scale: self.clock_scale(),
        }
    }

    fn clock_scale(&self) -> f64 {
        self.settings.clock_scale.unwrap_or(1.0)
    }

    /// Opens what is there. What is absent may come later; what is refused needs the user now.
    async fn open_all(&self, sources: &[Arc<Source>]) -> Result<Vec<Option<Door>>, Error> {
        let mut all = Vec::new();
        for (source, settings) in sources.iter().zip(&self.settings.sources) {
            match source.open().await {
                Ok(opened) => all.push(Some(opened)),
                Err(error) if error.may_pass() => {
                    source.awaiting(&error);
                    all.push(None);
                }
                Err(error) => return Err(refused(&settings.name, &error)),
            }
        }
        Ok(all)
    }

    fn open_store(
        &mut self,
        queue: Arc<Queue<crate::source::Event>>,
        texts: Vec<(u16, Text)>,
    ) -> Result<(Store, Vec<Folder>), Error> {
        let mut folders = Vec::new();
        let mut targets = Vec::new();
        for path in self.folders() {
            let (folder, storage) = Folder::claim(path)?;
            let place = path.display().to_string();
            let asked = path.to_owned();
            let room = Box::new(move || free_bytes(&asked));
            folders.push(folder);
            targets.push(Target { place, storage: Box::new(storage), room });
        }
        let mut targets = targets.into_iter();
        let first = targets.next().ok_or_else(|| Error::Bug("no target".into()))?;
        let place = first.place.clone();
        let ties = Ties {
            queue,
            status: self.status.clone(),
            stop: self.stop.clone(),
            clock: self.clock.clone(),
            limits: self.settings.limits.clone(),
            clock_scale: self.clock_scale(),
            contents: self.settings.sources.iter().map(|s| s.kind.content()).collect(),
        };
        let taps = Taps::new(std::mem::take(&mut self.taps));
        let refused = |e: String| Error::Storage(format!("cannot record into {place}: {e}"));
        let mut store =
            Store::begin(ties, first, targets.next(), taps).map_err(|e| refused(e.to_string()))?;
        for (source, text) in texts {
            store.add(source, Kind::Text, text.to_bytes());
        }
        store.flush().map_err(refused)?;
        Ok((store, folders))
    }

    /// Sets up what may end the recording besides the handle: signals and the time that was set.
    fn arm(&self) -> Result<(), Error> {
        if self.settings.limits.stop_after_s > 0.0 {
            let (stop, time) = (self.stop.clone(), seconds(self.settings.limits.stop_after_s));
            tokio::spawn(async move {
                tokio::time::sleep(time).await;
                stop.finish(Reason::TimeUp);
            });
        }
        if self.signals {
            let cannot = |e| Error::Bug(format!("cannot listen to signals: {e}"));
            for kind in [SignalKind::interrupt(), SignalKind::terminate()] {
                let mut arriving = signal(kind).map_err(cannot)?;
                let (stop, status) = (self.stop.clone(), self.status.clone());
                tokio::spawn(async move {
                    while arriving.recv().await.is_some() {
                        status.tell(Weight::Note, "stopping; once more to stop at once");
                        stop.interrupt();
                    }
                });
            }
            // The terminal may go away; the drive goes on.
            let mut hangup = signal(SignalKind::hangup()).map_err(cannot)?;
            tokio::spawn(async move { while hangup.recv().await.is_some() {} });
        }
        Ok(())
    }

    async fn await_store(&self, mut kept: oneshot::Receiver<Option<Kept>>) -> Result<Ended, Error> {
        let outcome = tokio::select! {
            outcome = &mut kept => Some(outcome),
            () = self.stop.wait_at_once() => {
                tokio::time::timeout(LAST_SYNC_WAIT, &mut kept).await.ok()
            }
        };
        let reason = self.stop.reason().unwrap_or(Reason::Asked);
        match outcome {
            Some(Ok(Some(kept))) => Ok(Ended { reason, kept, last: self.status.snapshot() }),
            Some(_) => Err(Error::Bug("the storage thread failed".into())),
            None => Err(Error::Storage(
                "the last sync did not end: what the medium had acknowledged before is safe".into(),
            )),
        }
    }
}

/// Runs the storage side on its own thread; `None` arrives if it fails.
fn spawn_store(store: Store, stop: Stop) -> oneshot::Receiver<Option<Kept>> {
    let (sender, receiver) = oneshot::channel();
    std::thread::spawn(move || {
        let kept = catch_unwind(AssertUnwindSafe(|| store.run())).ok();
        if kept.is_none() {
            stop.finish(Reason::Failed);
        }
        let _ = sender.send(kept);
    });
    receiver
}

fn read_vehicle(path: &Path) -> Result<String, Error> {
    let name = path.display();
    let text = std::fs::read_to_string(path)
        .map_err(|e| Error::Input(format!("cannot read the vehicle file {name}: {e}")))?;
    if text.len() + title::VEHICLE_FILE.len() < MAX_RECORD_BYTES {
        Ok(text)
    } else {
        Err(Error::Input(format!("{name} is {} bytes long: is it a vehicle file?", text.len())))
    }
}

fn refused(name: &str, error: &OpenError) -> Error {
    Error::Device(format!("source {name}: {error}\n{}", cure(error)))
}

impl Ended {
    /// Whether something that the sources may have sent is not in the capture.
    pub fn has_holes(&self) -> bool {
        let lacks = |s: &crate::status::SourceStatus| {
            s.times_opened == 0 || s.times_lost > 0 || s.bus.lost_frames > 0
        };
        !self.kept.closed || self.kept.dropped_bytes > 0 || self.last.sources.iter().any(lacks)
    }

    /// The exit code that tells how it went.
    pub fn exit_code(&self) -> i32 {
        let medium = matches!(self.reason, Reason::SpaceUsedUp | Reason::StorageGone);
        if self.reason == Reason::Failed {
            1
        } else if medium || self.kept.durable_records < self.kept.records {
            EXIT_STORAGE
        } else if self.has_holes() {
            EXIT_HOLES
        } else {
            EXIT_DONE
        }
    }
}
