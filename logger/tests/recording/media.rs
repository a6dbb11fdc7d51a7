//! The storage side on simulated media.

use std::io::ErrorKind;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use wheelwitness_capture::clock::{Clock, SimClock, Stamp};
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Kind, Losses, Record};
use wheelwitness_capture::storage::{SimStorage, Storage};
use wheelwitness_logger::clock::HostClock;
use wheelwitness_logger::queue::Queue;
use wheelwitness_logger::settings::{Limits, SourceSettings};
use wheelwitness_logger::source::Event;
use wheelwitness_logger::status::{Message, Status};
use wheelwitness_logger::stop::{Reason, Stop};
use wheelwitness_logger::store::{Kept, Store, Target, Ties};
use wheelwitness_logger::tap::{ChannelTap, Taps};

const PLENTY: u64 = 1 << 40;

/// A storage side with one source, and what the test needs to see of it.
struct World {
    clock: Arc<dyn Clock>,
    queue: Arc<Queue<Event>>,
    stop: Stop,
    status: Arc<Status>,
    messages: std::sync::mpsc::Receiver<Message>,
    room: Arc<AtomicU64>,
}

impl World {
    fn new() -> World {
        World::on(Arc::new(HostClock))
    }

    fn on(clock: Arc<dyn Clock>) -> World {
        let sources: [SourceSettings; 1] = ["a=/sim/a".parse().unwrap()];
        let (status, messages) = Status::new(clock.clone(), &sources);
        let queue = Arc::new(Queue::new(&[1], 1 << 26));
        let room = Arc::new(AtomicU64::new(PLENTY));
        World { clock, queue, stop: Stop::new(), status, messages, room }
    }

    fn store(
        &self,
        first: &SimStorage,
        spare: Option<&SimStorage>,
        limits: Limits,
        taps: Taps,
    ) -> Store {
        let room = self.room.clone();
        let target = |place: &str, medium: &SimStorage| {
            let room = room.clone();
            let room = Box::new(move || Some(room.load(Ordering::Relaxed)));
            Target { place: place.into(), storage: Box::new(medium.clone()), room }
        };
        let ties = self.ties(limits);
        Store::begin(ties, target("first", first), spare.map(|s| target("spare", s)), taps).unwrap()
    }

    fn ties(&self, limits: Limits) -> Ties {
        Ties {
            queue: self.queue.clone(),
            status: self.status.clone(),
            stop: self.stop.clone(),
            clock: self.clock.clone(),
            limits,
            clock_scale: 1.0,
            contents: vec![Kind::Bytes],
        }
    }

    /// Feeds `count` chunks of 1000 bytes, each filled with its number, and closes the queue.
    fn feed(&self, count: u32) {
        for number in 0..count {
            let bytes = number.to_le_bytes().repeat(250);
            self.queue.push_bytes(0, HostClock.now().boot_ns, bytes);
        }
        self.queue.close();
    }

    fn said(&self) -> String {
        self.messages.try_iter().map(|m| m.text + "\n").collect()
    }
}

/// What a power cut now would leave, all media joined into one.
fn after_power_cut(media: &[&SimStorage]) -> Vec<Record> {
    let whole = SimStorage::new();
    for medium in media {
        let mut image = medium.crash_image();
        for (name, _) in image.list().unwrap() {
            whole.put(&name, &image.get(&name).unwrap());
        }
    }
    let mut reader = CaptureReader::from_storage(whole).unwrap();
    let mut records = Vec::new();
    while let Some(item) = reader.next_item().unwrap() {
        if let Item::Record(record) = item {
            records.push(record);
        }
    }
    records
}

fn numbers(records: &[Record]) -> Vec<u32> {
    let chunks = records.iter().filter(|r| r.kind == Kind::Bytes);
    chunks.map(|r| u32::from_le_bytes(r.bytes[..4].try_into().unwrap())).collect()
}

fn run(world: &World, store: Store, count: u32) -> Kept {
    world.feed(count);
    store.run()
}

#[test]
fn any_one_failing_operation_costs_nothing() {
    let undisturbed = SimStorage::new();
    let world = World::new();
    run(&world, world.store(&undisturbed, None, Limits::default(), Taps::new(vec![])), 600);
    for nth in 1..=undisturbed.operations() {
        let (world, medium) = (World::new(), SimStorage::new());
        medium.fail_operation(nth, ErrorKind::Other);
        let kept =
            run(&world, world.store(&medium, None, Limits::default(), Taps::new(vec![])), 600);
        assert!(kept.closed, "operation {nth}");
        assert_eq!(kept.dropped_bytes, 0, "operation {nth}");
        let records = after_power_cut(&[&medium]);
        assert_eq!(numbers(&records), (0..600).collect::<Vec<_>>(), "operation {nth}");
        let closing = nth + 3 > undisturbed.operations();
        assert!(closing || world.said().contains("operation"), "operation {nth} was not told");
    }
}

#[test]
fn the_spare_medium_takes_over_when_the_first_is_gone_for_good() {
    let (world, first, spare) = (World::new(), SimStorage::new(), SimStorage::new());
    first.fail_operations(6, u64::MAX, ErrorKind::Other, 10);
    let store = world.store(&first, Some(&spare), Limits::default(), Taps::new(vec![]));
    let kept = run(&world, store, 2000);
    assert_eq!(kept.places, ["first", "spare"]);
    assert!(kept.closed);
    assert_eq!(numbers(&after_power_cut(&[&first, &spare])), (0..2000).collect::<Vec<_>>());
    assert!(world.said().contains("recording goes on into spare"));
}

#[test]
fn a_medium_that_fails_for_longer_than_the_patience_ends_the_recording() {
    let (world, medium) = (World::new(), SimStorage::new());
    medium.fail_operations(6, u64::MAX, ErrorKind::StorageFull, 0);
    let limits = Limits { storage_patience_s: 0.0, ..Limits::default() };
    let store = world.store(&medium, None, limits, Taps::new(vec![]));
    let kept = run(&world, store, 2000);
    assert_eq!(world.stop.reason(), Some(Reason::StorageGone));
    assert!(!kept.closed && kept.durable_records < kept.records);
    let safe = numbers(&after_power_cut(&[&medium]));
    assert_eq!(safe, (0..safe.len() as u32).collect::<Vec<_>>(), "acknowledged, whole, in order");
    assert_eq!(safe.len() as u64, kept.durable_records);
}

#[test]
fn what_memory_could_not_hold_is_counted_exactly() {
    let (world, medium) = (World::new(), SimStorage::new());
    medium.fail_operations(4, 9, ErrorKind::Other, 0);
    let limits = Limits { queue_mib: 1, ..Limits::default() };
    let store = world.store(&medium, None, limits, Taps::new(vec![]));
    let (sent, lost) = std::thread::scope(|threads| {
        let storing = threads.spawn(|| store.run());
        let mut sent = 0;
        // On until the medium works again: then the count of what was lost can be written.
        while medium.operations() < 14 {
            world.queue.push_bytes(0, HostClock.now().boot_ns, vec![7; 50_000]);
            sent += 50_000;
            std::thread::sleep(std::time::Duration::from_millis(2));
        }
        world.queue.close();
        (sent, storing.join().unwrap().dropped_bytes)
    });
    let records = after_power_cut(&[&medium]);
    let bytes = |r: &&Record| r.kind == Kind::Bytes;
    let kept: u64 = records.iter().filter(bytes).map(|r| r.bytes.len() as u64).sum();
    let losses = records.iter().filter(|r| r.kind == Kind::Losses);
    let told: u64 = losses.map(|r| Losses::from_bytes(&r.bytes).unwrap().bytes).sum();
    assert!(lost > 0, "the test brought no loss about");
    assert_eq!((kept + told, told), (sent, lost));
}

#[test]
fn the_reserve_is_left_alone() {
    let (world, medium) = (World::new(), SimStorage::new());
    world.room.store(10 << 20, Ordering::Relaxed);
    let limits = Limits { reserve_mib: 10, ..Limits::default() };
    let kept = run(&world, world.store(&medium, None, limits, Taps::new(vec![])), 10);
    assert_eq!(world.stop.reason(), Some(Reason::SpaceUsedUp));
    assert!(kept.closed);
    assert_eq!(numbers(&after_power_cut(&[&medium])), (0..10).collect::<Vec<_>>());
}

#[test]
fn the_space_left_is_told_in_steps_long_before_it_is_used_up() {
    let (world, medium) = (World::new(), SimStorage::new());
    let limits = Limits { reserve_mib: 0, ..Limits::default() };
    let clock = SimClock::default();
    let sources: [SourceSettings; 1] = ["a=/sim/a".parse().unwrap()];
    let (status, messages) = Status::new(Arc::new(clock.clone()), &sources);
    let ties = Ties { status, clock: Arc::new(clock.clone()), ..world.ties(limits) };
    let room = world.room.clone();
    let room = Box::new(move || Some(room.load(Ordering::Relaxed)));
    let first = Target { place: "first".into(), storage: Box::new(medium), room };
    let mut store = Store::begin(ties, first, None, Taps::new(vec![])).unwrap();
    // A megabyte in 100 s: 36 MB an hour.
    store.add(0, Kind::Bytes, vec![0; 500_000]);
    store.add(0, Kind::Bytes, vec![0; 500_000]);
    clock.advance_ns(100_000_000_000);
    let mut said = Vec::new();
    for megabytes in [73, 71, 70, 19, 17, 5, 4, 100, 71] {
        world.room.store(megabytes * 1_000_000, Ordering::Relaxed);
        store.look_at_room();
        said.extend(messages.try_iter().map(|m| (megabytes, m.text)));
    }
    let steps: Vec<_> = said.iter().map(|(megabytes, _)| *megabytes).collect();
    assert_eq!(steps, [71, 17, 5, 71], "{said:?}");
    assert!(said[0].1.contains("enough for about 118 min"), "{said:?}");
}

#[test]
fn a_listener_hears_every_record_as_it_is_numbered_in_the_capture() {
    let (world, medium) = (World::new(), SimStorage::new());
    let (tap, heard) = ChannelTap::new(10_000);
    let store = world.store(&medium, None, Limits::default(), Taps::new(vec![Box::new(tap)]));
    run(&world, store, 500);
    let stored = after_power_cut(&[&medium]);
    let heard: Vec<_> = heard.iter().collect();
    assert_eq!(heard, stored[..heard.len()]);
    assert_eq!(numbers(&heard).len(), 500);
}

/// A medium whose syncs do not return while the test holds the gate.
struct Stalling {
    medium: SimStorage,
    gate: Arc<std::sync::Mutex<()>>,
}

impl Storage for Stalling {
    fn create_new(&mut self, name: &str) -> std::io::Result<()> {
        self.medium.create_new(name)
    }
    fn append(&mut self, name: &str, bytes: &[u8]) -> std::io::Result<()> {
        self.medium.append(name, bytes)
    }
    fn sync(&mut self, name: &str) -> std::io::Result<()> {
        let _held = self.gate.lock().unwrap();
        self.medium.sync(name)
    }
    fn list(&mut self) -> std::io::Result<Vec<(String, u64)>> {
        self.medium.list()
    }
    fn read(&mut self, name: &str, offset: u64, into: &mut [u8]) -> std::io::Result<usize> {
        self.medium.read(name, offset, into)
    }
}

#[test]
fn a_stalled_medium_makes_no_reader_wait_and_what_did_not_fit_is_counted() {
    let mut world = World::new();
    // The queue holds 1 MiB; 400 chunks of 10 kB come while the medium stands still.
    world.queue = Arc::new(Queue::new(&[1], 1 << 20));
    let (medium, gate) = (SimStorage::new(), Arc::new(std::sync::Mutex::new(())));
    let stalling = Stalling { medium: medium.clone(), gate: gate.clone() };
    let ties = world.ties(Limits::default());
    let target =
        Target { place: "first".into(), storage: Box::new(stalling), room: Box::new(|| None) };
    let store = Store::begin(ties, target, None, Taps::new(vec![])).unwrap();
    std::thread::scope(|threads| {
        let held = gate.lock().unwrap();
        let storing = threads.spawn(|| store.run());
        for number in 0..400u32 {
            let bytes = number.to_le_bytes().repeat(2500);
            world.queue.push_bytes(0, HostClock.now().boot_ns, bytes);
        }
        drop(held);
        world.queue.close();
        let kept = storing.join().unwrap();
        assert!(kept.closed && kept.dropped_bytes > 0, "{kept:?}");
    });
    let mut next = 0;
    for record in after_power_cut(&[&medium]) {
        match record.kind {
            Kind::Bytes => {
                assert_eq!(numbers(&[record]), [next]);
                next += 1;
            }
            Kind::Losses => {
                let losses = Losses::from_bytes(&record.bytes).unwrap();
                assert_eq!(losses.bytes, losses.records * 10_000);
                next += losses.records as u32;
            }
            _ => {}
        }
    }
    assert_eq!(next, 400, "every chunk is there or counted, each in its place");
}

/// A lid that is closed for an hour: boot-time runs on, monotonic time does not (clock_gettime(2)).
#[test]
fn a_computer_that_slept_is_told_once_with_the_length_of_its_sleep() {
    let clock = SimClock::default();
    let (world, medium) = (World::on(Arc::new(clock.clone())), SimStorage::new());
    let mut store = world.store(&medium, None, Limits::default(), Taps::new(vec![]));
    clock.advance_ns(10_000_000_000);
    store.look_at_sleep();
    assert_eq!(world.said(), "");
    let now = clock.now();
    clock.set(Stamp { boot_ns: now.boot_ns + 3_600_250_000_000, ..now });
    store.look_at_sleep();
    assert!(world.said().contains("slept for 3600.25 s"));
    store.look_at_sleep();
    assert_eq!(world.said(), "");
}

/// From 1970 to the present, as a network does it on a computer without a clock battery, and by
/// hand an hour back.
#[test]
fn a_clock_that_is_set_is_told_once_with_by_how_much_and_moves_no_record() {
    let clock = SimClock::at(Stamp { boot_ns: 7, mono_ns: 7, wall_ns: 12_000_000_007 });
    let (world, medium) = (World::on(Arc::new(clock.clone())), SimStorage::new());
    let mut store = world.store(&medium, None, Limits::default(), Taps::new(vec![]));
    let mut told = Vec::new();
    for n in 0..40_i64 {
        let now = clock.now();
        let set_s = [0, 1_795_000_000, 0, -3_600][n as usize / 10] * i64::from(n % 10 == 0);
        clock.set(Stamp { wall_ns: now.wall_ns + set_s * 1_000_000_000, ..now });
        store.look_at_wall_clock();
        store.add(0, Kind::Bytes, vec![n as u8]);
        store.flush().unwrap();
        told.push(world.said());
        clock.advance_ns(1_000_000_000);
    }
    // One look later, when it is sure that nobody was only held up.
    assert!(told[11].contains("was set forward by 1795000000.00 s"), "{told:?}");
    assert!(told[31].contains("was set back by 3600.00 s"), "{told:?}");
    assert_eq!(told.iter().filter(|said| !said.is_empty()).count(), 2, "{told:?}");
    let times = after_power_cut(&[&medium]).into_iter().map(|record| record.boot_ns);
    assert!(times.eq((0..40).map(|n| 7 + n * 1_000_000_000)), "a record was moved");
}
