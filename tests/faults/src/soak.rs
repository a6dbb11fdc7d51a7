//! Half a day on simulated time: a board at three times its nominal rate, with sentences left out
//! here and there; every one that is missing must be counted, and memory must stay flat.

use crate::bench::{Noise, Outcome, Scratch};
use std::future::Future;
use std::io;
use std::pin::Pin;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::Sleep;
use wheelwitness_capture::board::{Channel, Counts, Says, Sentence, Tally};
use wheelwitness_capture::clock::SimClock;
use wheelwitness_capture::decode::{Decoder, Value};
use wheelwitness_capture::encode;
use wheelwitness_capture::read::CaptureReader;
use wheelwitness_capture::record::Kind;
use wheelwitness_capture::sequence::{Sequence, Totals};
use wheelwitness_logger::bus::sim::SimBuses;
use wheelwitness_logger::folder::Folder;
use wheelwitness_logger::names::Seat;
use wheelwitness_logger::port::{OpenError, Opened, Ports};
use wheelwitness_logger::queue::Queue;
use wheelwitness_logger::settings::{Limits, SourceSettings};
use wheelwitness_logger::source::{Event, Shared, Source};
use wheelwitness_logger::status::Status;
use wheelwitness_logger::stop::{Reason, Stop};
use wheelwitness_logger::store::{Kept, Store, Target, Ties};
use wheelwitness_logger::tap::Taps;

/// One delivery every ten milliseconds of simulated time, three rounds of two sentences in it:
/// three times the nominal 100 rounds a second.
const DELIVERY: Duration = Duration::from_millis(10);
const ROUNDS: u64 = 3;
const DELIVERIES_AN_HOUR: u64 = 360_000;
/// Simulated time must not outrun the storage thread, which works in real time.
const MOST_WAITING: usize = 4 << 20;
/// Memory may grow so much after the first tenth, in KiB: noise of the allocator.
const MAY_GROW_KIB: u64 = 8 * 1024;

/// What the line did.
#[derive(Default)]
struct Told {
    sent: AtomicU64,
    left_out: AtomicU64,
    gaps: AtomicU64,
    /// Memory of this process at each tenth of the time, in KiB.
    memory_kib: Mutex<Vec<u64>>,
}

/// Records `hours` of simulated time.
pub fn soak(hours: f64) -> Outcome {
    let bench = Scratch::in_memory("soak")?;
    let into = bench.path("drive");
    let told = Arc::new(Told::default());
    let kept = record(&into, (hours * DELIVERIES_AN_HOUR as f64) as u64, &told)?;
    let counted = count(&into)?;
    let number = |n: &AtomicU64| n.load(Ordering::Relaxed);
    let (sent, left_out) = (number(&told.sent), number(&told.left_out));
    let memory = told.memory_kib.lock().map(|m| m.clone()).unwrap_or_default();
    let (first, most) = (memory.first().copied(), memory.iter().max().copied());
    let grown = most.zip(first).map_or(0, |(most, first)| most - first);
    let summary = format!(
        "{hours} h at three times the nominal rate: {sent} sentences received, {} gaps of \
         {left_out} sentences left out, counted as {} received and {} lost; {} dropped; memory \
         grew by {grown} KiB after the first tenth",
        number(&told.gaps),
        counted.received,
        counted.lost,
        kept.dropped_bytes,
    );
    let exact = counted.received == sent && counted.lost == left_out;
    let clean = kept.closed && kept.dropped_bytes == 0 && counted.restarts == 0;
    if exact && clean && grown <= MAY_GROW_KIB { Ok(summary) } else { Err(summary) }
}

/// The source, the queue and the storage side, on a line that makes its bytes as it goes.
fn record(into: &std::path::Path, deliveries: u64, told: &Arc<Told>) -> Result<Kept, String> {
    let clock = SimClock::default();
    let queue = Arc::new(Queue::<Event>::new(&[3], 64 << 20));
    let settings: SourceSettings = "board=/sim/board,pulse-board".parse()?;
    let (status, _) = Status::new(Arc::new(clock.clone()), std::slice::from_ref(&settings));
    let stop = Stop::new();
    let (_folder, storage) = Folder::claim(into).map_err(|e| e.to_string())?;
    let ties = Ties {
        queue: queue.clone(),
        status: status.clone(),
        stop: stop.clone(),
        clock: Arc::new(clock.clone()),
        limits: Limits::default(),
        clock_scale: 1.0,
        contents: vec![Kind::Bytes],
    };
    let place = into.display().to_string();
    let target = Target { place, storage: Box::new(storage), room: Box::new(|| None) };
    let store = Store::begin(ties, target, None, Taps::new(vec![])).map_err(|e| e.to_string())?;
    let line = Line::new(deliveries, clock.clone(), queue.clone(), stop.clone(), told.clone());
    let shared = Arc::new(Shared {
        clock: Arc::new(clock),
        ports: Arc::new(OneLine(Mutex::new(Some(line)))),
        buses: Arc::new(SimBuses::new()),
        queue: queue.clone(),
        status,
        stop,
        limits: Limits::default(),
        clock_scale: 1.0,
    });
    let storing = std::thread::spawn(move || store.run());
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .start_paused(true)
        .build()
        .map_err(|e| e.to_string())?;
    runtime.block_on(Source::new(shared, 0, settings).keep_alive(None));
    queue.close();
    storing.join().map_err(|_| "the storage thread panicked".to_owned())
}

/// Counts from the capture what was received and what is missing.
fn count(folder: &std::path::Path) -> Result<Totals, String> {
    let reader = CaptureReader::open(folder).map_err(|e| e.to_string())?;
    let (mut decoder, mut sequence) = (Decoder::new(), Sequence::new());
    let mut faults = 0;
    for item in reader {
        let item = item.map_err(|e| e.to_string())?;
        decoder.push_item(&item, &mut |reading| {
            faults += reading.faults.len();
            if let Value::Board(sentence) = &reading.value {
                sequence.push_at(sentence, reading.boot_ns / 1000);
            }
        });
    }
    if faults > 0 { Err(format!("{faults} faults")) } else { Ok(sequence.totals()) }
}

/// A door behind which there is one line, once.
struct OneLine(Mutex<Option<Line>>);

impl Ports for OneLine {
    fn open(&self, seat: &Seat, _: u32) -> Result<Opened, OpenError> {
        let device = seat.given.clone();
        let line = self.0.lock().ok().and_then(|mut line| line.take());
        let line = line.ok_or_else(|| OpenError::Absent(device.clone()))?;
        Ok(Opened { port: Box::new(line), device, seat: seat.clone() })
    }
}

/// The board's end of the line.
struct Line {
    left: u64,
    deliveries: u64,
    clock: SimClock,
    queue: Arc<Queue<Event>>,
    stop: Stop,
    told: Arc<Told>,
    noise: Noise,
    /// Sentences made, those left out included.
    made: u64,
    tick: u32,
    waiting: Option<Pin<Box<Sleep>>>,
    bytes: Vec<u8>,
}

impl Line {
    fn new(
        deliveries: u64,
        clock: SimClock,
        queue: Arc<Queue<Event>>,
        stop: Stop,
        told: Arc<Told>,
    ) -> Line {
        Line {
            left: deliveries,
            deliveries,
            clock,
            queue,
            stop,
            told,
            noise: Noise::new(12),
            made: 0,
            tick: 1000,
            waiting: None,
            bytes: Vec::new(),
        }
    }

    /// The next ten milliseconds of the board.
    fn deliver(&mut self) {
        while self.queue.held_bytes() > MOST_WAITING {
            std::thread::sleep(Duration::from_micros(200));
        }
        self.left -= 1;
        self.clock.advance_ns(DELIVERY.as_nanos() as i64);
        let done = self.deliveries - self.left;
        if done.is_multiple_of((self.deliveries / 10).max(1)) {
            self.note_memory();
        }
        // About once in ten seconds a gap of 1 to 200 sentences.
        let gap = (self.noise.below(1000) == 0).then(|| 1 + self.noise.below(200));
        self.told.gaps.fetch_add(u64::from(gap.is_some()), Ordering::Relaxed);
        for _ in 0..gap.unwrap_or(0) {
            self.made += 1;
        }
        self.told.left_out.fetch_add(gap.unwrap_or(0), Ordering::Relaxed);
        for round in 0..ROUNDS {
            self.tick = self.tick.wrapping_add([3333, 3333, 3334][round as usize]);
            for first_channel in [1, 5] {
                let channel = Channel { count: self.made as u16, age_us: Some(77) };
                self.say(Says::Counts(Counts { first_channel, channels: [channel; 4] }));
            }
        }
        let closing = self.left == 0;
        if closing || done.is_multiple_of(100) {
            let sent = self.made as u32 + 1;
            self.say(Says::Tally(Tally { boot_number: 1, sent, closing }));
        }
    }

    fn say(&mut self, says: Says) {
        let sentence = Sentence { sequence: self.made as u8, tick: self.tick, says };
        self.bytes.extend(encode::board(&sentence));
        self.made += 1;
        self.told.sent.fetch_add(1, Ordering::Relaxed);
    }

    fn note_memory(&self) {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let kib = line.and_then(|l| l.trim().trim_end_matches(" kB").trim().parse().ok());
        if let (Some(kib), Ok(mut memory)) = (kib, self.told.memory_kib.lock()) {
            memory.push(kib);
        }
    }
}

impl AsyncRead for Line {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        buf: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        loop {
            if !self.bytes.is_empty() {
                let taken = self.bytes.len().min(buf.remaining());
                buf.put_slice(&self.bytes[..taken]);
                self.bytes.drain(..taken);
                return Poll::Ready(Ok(()));
            }
            if let Some(sleep) = &mut self.waiting {
                std::task::ready!(sleep.as_mut().poll(cx));
                self.waiting = None;
                self.deliver();
            } else if self.left == 0 {
                self.stop.finish(Reason::Asked);
                return Poll::Pending;
            } else {
                self.waiting = Some(Box::pin(tokio::time::sleep(DELIVERY)));
            }
        }
    }
}

impl AsyncWrite for Line {
    fn poll_write(
        self: Pin<&mut Self>,
        _: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Poll::Ready(Ok(bytes.len()))
    }
    fn poll_flush(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
    fn poll_shutdown(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }
}
