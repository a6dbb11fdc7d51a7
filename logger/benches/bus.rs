//! A full CAN bus of 1 Mbit/s, recorded: what is lost, and what it costs.
//!
//! `cargo bench -p wheelwitness-logger --bench bus` prints both. Frames come through a pair of
//! datagram sockets from a process of its own, at the highest rate that 8-byte frames with an id
//! of 11 bits can have: 111 bits each, so 9,009 a second (ISO 11898-1, formula from memory). All
//! but the interface itself is what records a real bus: socket options, reader, queue, storage.

use nix::sys::resource::{UsageWho, getrusage};
use nix::sys::time::TimeValLike;
use std::net::UdpSocket;
use std::os::fd::OwnedFd;
use std::path::Path;
use std::process::{Child, Command};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use wheelwitness_capture::read::{CaptureReader, Item};
use wheelwitness_capture::record::{Kind, Losses};
use wheelwitness_logger::bus::socket::{FrameSocket, prepare};
use wheelwitness_logger::bus::{Buses, Filter, OpenedBus};
use wheelwitness_logger::port::OpenError;
use wheelwitness_logger::recorder::Recorder;
use wheelwitness_logger::settings::{SourceSettings, Typed};
use wheelwitness_logger::stop::Reason;

const BIT_RATE: f64 = 1e6;
const BITS_PER_FRAME: f64 = 111.0;
const SECONDS: f64 = 10.0;
/// The sender's argument; cargo adds others.
const SEND_TO: &str = "--send-to";

fn main() {
    let args: Vec<_> = std::env::args().collect();
    match args.iter().position(|arg| arg == SEND_TO) {
        Some(at) => send(&args[at + 1]),
        None => measure(),
    }
}

/// Sends frames at the rate of the full bus; a little more every millisecond that passes.
fn send(address: &str) {
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a socket");
    socket.connect(address).expect("the recorder's socket");
    let (begun, total) = (Instant::now(), (SECONDS * BIT_RATE / BITS_PER_FRAME) as u64);
    let mut sent = 0;
    while sent < total {
        let due = (begun.elapsed().as_secs_f64() * BIT_RATE / BITS_PER_FRAME) as u64;
        while sent < due.min(total) {
            socket.send(&frame(sent)).expect("the socket takes a frame");
            sent += 1;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}

/// The kernel's structure of a classic frame: id, length, padding, data (`linux/can.h`).
#[expect(clippy::host_endian_bytes, reason = "the kernel's structures are the host's")]
fn frame(number: u64) -> [u8; 16] {
    let mut bytes = [0; 16];
    bytes[..4].copy_from_slice(&0x123_u32.to_ne_bytes());
    bytes[4] = 8;
    bytes[8..].copy_from_slice(&number.to_le_bytes());
    bytes
}

/// The door to one socket that was made before.
struct OneSocket(Mutex<Option<OwnedFd>>);

impl Buses for OneSocket {
    fn open(&self, name: &str, _: &[Filter]) -> Result<OpenedBus, OpenError> {
        let socket = self.0.lock().expect("no panic").take();
        let socket = socket.ok_or_else(|| OpenError::Absent(name.into()))?;
        let bus = Box::new(FrameSocket::over(socket));
        Ok(OpenedBus { bus, name: name.into(), notes: Vec::new() })
    }
}

fn measure() {
    let receiver = UdpSocket::bind("127.0.0.1:0").expect("a socket");
    let address = receiver.local_addr().expect("an address").to_string();
    let receiver = OwnedFd::from(receiver);
    prepare(&receiver).expect("socket options");
    let folder = std::env::temp_dir().join(format!("bus-{}", std::process::id()));
    let source: SourceSettings = "bus=can0,can".parse().expect("a source");
    let typed =
        Typed { into: Some(folder.clone()), sources: vec![source.into()], ..Typed::default() };
    let recorder = Recorder::new(typed.meant().expect("settings"))
        .buses(Arc::new(OneSocket(Mutex::new(Some(receiver)))));
    let (stop, cpu, begun) = (recorder.stop(), cpu_s(), Instant::now());
    let recording = std::thread::spawn(|| recorder.run().expect("a recording"));
    let program = std::env::current_exe().expect("this program");
    let mut sender: Child =
        Command::new(program).args([SEND_TO, &address]).spawn().expect("a sender");
    assert!(sender.wait().expect("an end").success());
    stop.finish(Reason::Asked);
    recording.join().expect("no panic");
    report(&folder, begun.elapsed().as_secs_f64(), cpu_s() - cpu);
    std::fs::remove_dir_all(&folder).expect("the folder goes");
}

fn report(folder: &Path, wall_s: f64, cpu_s: f64) {
    let (mut stored, mut lost) = (0, 0);
    let mut reader = CaptureReader::open(folder).expect("a capture");
    while let Some(item) = reader.next_item().expect("a whole capture") {
        let Item::Record(record) = item else { continue };
        match record.kind {
            Kind::CanFrame => stored += 1,
            Kind::Losses => lost += Losses::from_bytes(&record.bytes).map_or(0, |l| l.records),
            _ => {}
        }
    }
    let sent = (SECONDS * BIT_RATE / BITS_PER_FRAME) as u64;
    println!(
        "full bus of 1 Mbit/s for {SECONDS} s: sent {sent}, stored {stored}, lost {lost}; \
         {:.1} % of one core ({cpu_s:.3} s in {wall_s:.1} s)",
        100.0 * cpu_s / wall_s
    );
    assert_eq!(sent, stored + lost, "every frame is accounted for");
}

/// Processor time of this process, which does not hold the sender.
fn cpu_s() -> f64 {
    let usage = getrusage(UsageWho::RUSAGE_SELF).expect("the system tells its own usage");
    (usage.user_time().num_microseconds() + usage.system_time().num_microseconds()) as f64 * 1e-6
}
