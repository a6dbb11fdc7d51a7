//! Power cuts: the storage side of a recording, cut off at any moment.
//!
//! The oracle: what the status called safe before the cut is there after it, in order and once;
//! what is there beyond that is the beginning of what was said; earlier drives are untouched; the
//! next start finds the recording and says that it was cut off.

use crate::bench::{Kept, Noise, repeat};
use crate::fat::OnMedium;
use crate::volume::{System, Volume};
use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use wheelwitness_capture::clock::Clock;
use wheelwitness_capture::record::Kind;
use wheelwitness_capture::storage::{DirStorage, Storage};
use wheelwitness_logger::clock::HostClock;
use wheelwitness_logger::folder::Folder;
use wheelwitness_logger::queue::Queue;
use wheelwitness_logger::recovery::{NOTE_NAME, settle};
use wheelwitness_logger::settings::{Limits, SourceSettings};
use wheelwitness_logger::source::Event;
use wheelwitness_logger::status::Status;
use wheelwitness_logger::stop::Stop;
use wheelwitness_logger::store::{Store, Target, Ties};
use wheelwitness_logger::tap::Taps;

/// A chunk comes every so often, as from a board.
const CHUNK_EVERY: Duration = Duration::from_millis(3);
/// Longest recording before a cut, in milliseconds.
const LONGEST_MS: u64 = 700;
/// Every second cut is made at most so long after the beginning of a sync, in microseconds, if one
/// begins within this time.
const INTO_SYNC_US: u64 = 1500;
const LONGEST_WAIT: Duration = Duration::from_millis(400);
/// Cuts on one volume before it is made anew. Nothing is removed from it: on FAT, removing or
/// reading a file whose end was cut off turns the volume read-only (measured in the guest, Linux
/// 6.1).
const CUTS_A_VOLUME: u64 = 25;
/// What a cut may cost, in seconds, where a sync takes at most half a second.
const MAY_COST_S: f64 = 1.0;
const QUICK_SYNC_S: f64 = 0.5;
/// What FAT calls the first segment where it has room for 8 + 3 characters.
const SHORT_NAME: &str = "segmen~1wwc";

/// How a medium keeps its word about syncs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Syncs {
    /// As the file system does.
    Honest,
    /// The protection taken away: nothing is ever synced, and called durable all the same.
    Skipped,
}

mod found;
pub use found::Found;

/// Cuts the power `count` times, on volumes numbered from `first`: a number gives the same moments.
pub fn power_cuts(
    system: System,
    syncs: Syncs,
    first: u64,
    count: u64,
    threads: u64,
) -> Result<Found, String> {
    let all = Mutex::new(Found::default());
    let volumes = count.div_ceil(CUTS_A_VOLUME);
    repeat(volumes, threads, |number| {
        let mut volume = Volume::new(system)?;
        let mut earlier = Vec::new();
        let cuts = CUTS_A_VOLUME.min(count - number * CUTS_A_VOLUME);
        for nth in 0..cuts {
            let mut noise = Noise::new((first + number) * 1000 + nth);
            let found = one_cut(&mut volume, syncs, nth, &mut noise, &mut earlier)?;
            all.lock().map_err(|e| e.to_string())?.add(&found);
        }
        Ok(())
    })?;
    all.into_inner().map_err(|e| e.to_string())
}

/// What happens between two cuts: a drive begins, is cut off, is found and held to its word.
fn one_cut(
    volume: &mut Volume,
    syncs: Syncs,
    nth: u64,
    noise: &mut Noise,
    earlier: &mut Vec<Earlier>,
) -> Result<Found, String> {
    let name = format!("drive-{nth}");
    let after = Duration::from_micros(noise.below(LONGEST_MS * 1000));
    let into_sync = nth.is_multiple_of(2).then(|| Duration::from_micros(noise.below(INTO_SYNC_US)));
    let moment = Moment { after, into_sync };
    let drive = Drive::record_and_cut(volume, &volume.top().join(&name), syncs, moment)?;
    let as_cut = volume.as_cut(&name, SHORT_NAME)?;
    if let Some(file) = &as_cut {
        drive.check_medium(file.there())?;
    }
    volume.restore()?;
    let begun = Instant::now();
    let settled = settle(&volume.top().join(&name)).map_err(|e| format!("not settled: {e}"))?;
    let settled_us = begun.elapsed().as_micros() as u64;
    let (before, tails_changed) = volume.read(|top| {
        let kept = drive.check_beginning(&top.join(&name), settled.is_some())?;
        let mut changed = 0;
        for drive in earlier.iter() {
            changed += u64::from(drive.is_changed(top)?);
        }
        Ok((kept.records.len() as u64, changed))
    })?;
    let found = volume.read_checked(|top| {
        for drive in earlier.iter() {
            drive.check_safe(top)?;
        }
        let kept = drive.check_beginning(&top.join(&name), settled.is_some())?;
        let found = Found { settled_us, noted: settled.is_some().into(), ..drive.count(&kept)? };
        let said_too_long = as_cut.as_ref().is_some_and(OnMedium::is_said_too_long).into();
        Ok(Found { said_too_long, read_late: (before < drive.durable).into(), ..found })
    })?;
    let bytes = volume.read_checked(|top| readable(&top.join(&name).join(SEGMENT)))?;
    volume.put_in_order()?;
    earlier.push(Earlier { name, drive, bytes });
    Ok(Found { tails_changed, ..found })
}

/// A drive that was cut off before, and what of it could be read right after its cut.
struct Earlier {
    name: String,
    drive: Drive,
    bytes: Vec<u8>,
}

impl Earlier {
    /// Whether other bytes are read now, before the volume was checked. That may be so for what
    /// was not safe: the medium says of its cluster that it is free, and the next drive got it.
    fn is_changed(&self, top: &Path) -> Result<bool, String> {
        Ok(readable(&top.join(&self.name).join(SEGMENT))? != self.bytes)
    }

    /// After the volume was checked, everything of it that was called safe is there.
    fn check_safe(&self, top: &Path) -> Result<(), String> {
        let kept = self.drive.check_beginning(&top.join(&self.name), true);
        let safe = kept.and_then(|kept| self.drive.check_safe(kept.records.len()));
        safe.map_err(|why| format!("{}, an earlier drive: {why}", self.name))
    }
}

const SEGMENT: &str = "segment-000001.wwc";

/// A file up to where the medium refuses to give more of it: on FAT a file may be said to be
/// longer than the part of it that reached the medium.
fn readable(path: &Path) -> Result<Vec<u8>, String> {
    let mut file = match std::fs::File::open(path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        opened => opened.map_err(|e| format!("{}: {e}", path.display()))?,
    };
    let (mut all, mut piece) = (Vec::new(), [0; 512]);
    while let Ok(bytes @ 1..) = io::Read::read(&mut file, &mut piece) {
        all.extend_from_slice(&piece[..bytes]);
    }
    Ok(all)
}

/// When the power goes.
#[derive(Clone, Copy)]
struct Moment {
    after: Duration,
    /// Then so long after the beginning of a sync: between two syncs little is under way.
    into_sync: Option<Duration>,
}

impl Moment {
    fn wait_for(self, watch: &SyncWatch) {
        std::thread::sleep(self.after);
        let Some(into) = self.into_sync else { return };
        let until = Instant::now() + LONGEST_WAIT;
        while watch.begun().is_none() && Instant::now() < until {
            std::thread::yield_now();
        }
        let begun = watch.begun();
        while begun.is_some_and(|begun| begun.elapsed() < into) {
            std::thread::yield_now();
        }
    }
}

/// A drive that was cut off, and what is known of it.
struct Drive {
    pushed: Vec<Instant>,
    cut_at: Instant,
    durable: u64,
    longest_sync_s: f64,
    within_sync: bool,
}

impl Drive {
    fn record_and_cut(
        volume: &Volume,
        folder: &Path,
        syncs: Syncs,
        moment: Moment,
    ) -> Result<Drive, String> {
        let (claimed, storage) = Folder::claim(folder).map_err(|e| e.to_string())?;
        let timed = Timed::new(storage, syncs);
        let watch = timed.watch.clone();
        let world = World::new();
        let store = world.store(timed)?;
        let storing = std::thread::spawn(move || store.run());
        let (pushed, on) = (Mutex::new(Vec::new()), AtomicBool::new(true));
        let cut = std::thread::scope(|scope| {
            scope.spawn(|| world.feed(&pushed, &on));
            moment.wait_for(&watch);
            let durable = world.status.snapshot().storage.durable_records;
            let (cut_at, within_sync) = (Instant::now(), watch.begun().is_some());
            let cut = volume.cut();
            on.store(false, Ordering::Relaxed);
            cut.map(|()| (durable, cut_at, within_sync))
        });
        let longest_sync_s = watch.longest_s();
        world.stop.at_once();
        world.queue.close();
        storing.join().map_err(|_| "the storage thread panicked")?;
        drop(claimed);
        let (durable, cut_at, within_sync) = cut?;
        let pushed = pushed.into_inner().unwrap_or_default();
        Ok(Drive { pushed, cut_at, durable, longest_sync_s, within_sync })
    }

    /// What is left is a beginning of what was said, and somebody says that it was cut off. On FAT,
    /// before the volume was checked, Linux gives nothing of the page in which a file was cut off,
    /// not even what was safe.
    fn check_beginning(&self, folder: &Path, noted: bool) -> Result<Kept, String> {
        let kept = match folder.exists() {
            true => Kept::of(folder)?,
            false => Kept::default(),
        };
        let numbers = kept.records.iter().map(|r| u64::from_le_bytes(first_word(&r.bytes)));
        if !numbers.eq(0..kept.records.len() as u64) {
            return Err("the records are no beginning of what was said".into());
        }
        kept.check_holes()?;
        let begun = folder.join(SEGMENT).exists();
        if begun && !(noted && folder.join(NOTE_NAME).exists()) {
            return Err("nobody says that this recording was cut off".into());
        }
        Ok(kept)
    }

    /// Everything that was called safe is there; gives what a cut did, and holds it to what it may
    /// cost.
    fn count(&self, kept: &Kept) -> Result<Found, String> {
        let records = kept.records.len();
        self.check_safe(records)?;
        let first = self.pushed.get(records).filter(|at| **at < self.cut_at);
        let lost_s = first.map_or(0.0, |at| self.cut_at.duration_since(*at).as_secs_f64());
        let quick = self.longest_sync_s <= QUICK_SYNC_S;
        if quick && lost_s > MAY_COST_S {
            return Err(format!("{lost_s:.3} s lost, longest sync {:.3} s", self.longest_sync_s));
        }
        Ok(Found {
            cuts: 1,
            acknowledged: self.durable,
            lost_us: (lost_s * 1e6) as u64,
            longest_sync_us: (self.longest_sync_s * 1e6) as u64,
            torn: u64::from(!kept.holes.is_empty()),
            long_syncs: u64::from(!quick),
            within_sync: u64::from(self.within_sync),
            ..Found::default()
        })
    }

    /// Everything that was called safe is on the medium, whatever its driver makes of it.
    fn check_medium(&self, segment: &[u8]) -> Result<(), String> {
        let there = Kept::of_bytes(segment)?.records.len();
        self.check_safe(there).map_err(|why| format!("on the medium: {why}"))
    }

    fn check_safe(&self, records: usize) -> Result<(), String> {
        match (records as u64) < self.durable {
            true => Err(format!("{} acknowledged, {records} are there", self.durable)),
            false => Ok(()),
        }
    }
}

fn first_word(bytes: &[u8]) -> [u8; 8] {
    bytes.first_chunk::<8>().copied().unwrap_or([0xFF; 8])
}

/// A storage side with one source, and nothing else of a recorder.
struct World {
    queue: Arc<Queue<Event>>,
    status: Arc<Status>,
    stop: Stop,
}

impl World {
    fn new() -> World {
        let sources: Vec<SourceSettings> = "a=/sim/a".parse().into_iter().collect();
        let (status, _) = Status::new(Arc::new(HostClock), &sources);
        World { queue: Arc::new(Queue::new(&[1], 1 << 26)), status, stop: Stop::new() }
    }

    fn store(&self, storage: Timed) -> Result<Store, String> {
        let ties = Ties {
            queue: self.queue.clone(),
            status: self.status.clone(),
            stop: self.stop.clone(),
            clock: Arc::new(HostClock),
            limits: Limits::default(),
            clock_scale: 1.0,
            contents: vec![Kind::Bytes],
        };
        let place = "the medium".to_owned();
        let target = Target { place, storage: Box::new(storage), room: Box::new(|| None) };
        Store::begin(ties, target, None, Taps::new(vec![])).map_err(|e| e.to_string())
    }

    /// Numbered chunks of 80 bytes while `on` holds: each is one record, of the same number.
    fn feed(&self, pushed: &Mutex<Vec<Instant>>, on: &AtomicBool) {
        let mut number = 0_u64;
        while on.load(Ordering::Relaxed) {
            if let Ok(mut pushed) = pushed.lock() {
                pushed.push(Instant::now());
            }
            let chunk = number.to_le_bytes().repeat(10);
            self.queue.push_bytes(0, HostClock.now().boot_ns, chunk);
            number += 1;
            std::thread::sleep(CHUNK_EVERY);
        }
    }
}

/// How long syncs take, the one under way included.
#[derive(Default)]
struct SyncWatch {
    longest_us: AtomicI64,
    since: Mutex<Option<Instant>>,
}

impl SyncWatch {
    fn longest_s(&self) -> f64 {
        let under_way = self.since.lock().map(|since| since.map(|at| at.elapsed()));
        let under_way = under_way.ok().flatten().map_or(0.0, |time| time.as_secs_f64());
        (self.longest_us.load(Ordering::Relaxed) as f64 / 1e6).max(under_way)
    }

    /// When the sync under way began.
    fn begun(&self) -> Option<Instant> {
        self.since.lock().ok().and_then(|since| *since)
    }

    fn set(&self, since: Option<Instant>) {
        if let Ok(mut now) = self.since.lock() {
            if let (Some(before), None) = (*now, since) {
                let took_us = before.elapsed().as_micros() as i64;
                self.longest_us.fetch_max(took_us, Ordering::Relaxed);
            }
            *now = since;
        }
    }
}

/// A folder whose syncs are timed, or left out.
struct Timed {
    folder: DirStorage,
    syncs: Syncs,
    watch: Arc<SyncWatch>,
}

impl Timed {
    fn new(folder: DirStorage, syncs: Syncs) -> Timed {
        Timed { folder, syncs, watch: Arc::default() }
    }
}

impl Storage for Timed {
    fn create_new(&mut self, name: &str) -> io::Result<()> {
        self.folder.create_new(name)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.folder.append(name, bytes)
    }
    fn sync(&mut self, name: &str) -> io::Result<()> {
        if self.syncs == Syncs::Skipped {
            return Ok(());
        }
        self.watch.set(Some(Instant::now()));
        let outcome = self.folder.sync(name);
        self.watch.set(None);
        outcome
    }
    fn list(&mut self) -> io::Result<Vec<(String, u64)>> {
        self.folder.list()
    }
    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> io::Result<usize> {
        self.folder.read(name, offset, into)
    }
}
