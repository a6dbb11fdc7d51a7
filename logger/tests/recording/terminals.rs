//! The real program on real pseudo-terminals.

use crate::harness::*;
use nix::sys::signal::Signal::{SIGINT, SIGKILL, SIGTERM};
use std::io::Read;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::process::{Command, Stdio};
use std::time::Duration;
use wheelwitness_capture::record::{Kind, RECORDER, Text, title};

/// Sends `bytes` in chunks of random length.
fn send_in_chunks(wire: &mut Wire, bytes: &[u8], noise: &mut Noise) {
    let mut rest = bytes;
    while !rest.is_empty() {
        let length = 1 + noise.next() as usize % 700;
        let (now, later) = rest.split_at(length.min(rest.len()));
        wire.send(now);
        rest = later;
    }
}

#[test]
fn every_byte_on_the_wire_is_in_the_capture_in_order_and_once() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let mut wires = [Wire::new(), Wire::new(), Wire::new()];
    let kinds = [",250000,other", ",115200,other", ",9600,gnss"];
    let named = wires.iter().zip(kinds).enumerate();
    let sources: Vec<_> = named.map(|(n, (w, k))| source(&format!("s{n}"), &w.name, k)).collect();
    let mut args = vec!["--into", text(&into)];
    sources.iter().for_each(|s| args.extend(["--source", s]));
    let program = Program::record(&args);
    let sent: Vec<_> = (0..3).map(|seed| Noise::new(seed + 1).bytes(1_500_000)).collect();
    std::thread::scope(|threads| {
        for (seed, (wire, bytes)) in wires.iter_mut().zip(&sent).enumerate() {
            threads.spawn(move || send_in_chunks(wire, bytes, &mut Noise::new(100 + seed as u64)));
        }
    });
    (0..3).for_each(|n| wait_for_bytes(&into, n, sent[usize::from(n)].len()));
    let over = program.end_by(SIGTERM);
    assert_eq!(over.code, Some(0), "{}", over.said);
    let (records, closed) = read(&into);
    assert!(closed);
    for source in 0..3 {
        assert!(bytes_of(&records, source) == sent[usize::from(source)], "source {source} differs");
        assert_eq!(story(&records, source), [Kind::Opened, Kind::Bytes]);
    }
    assert!(
        records.iter().enumerate().all(|(n, r)| r.number == n as u64),
        "numbered without a gap"
    );
}

#[test]
fn the_capture_carries_vehicle_file_settings_and_names_of_sources() {
    let bench = Bench::new();
    let (into, vehicle) = (bench.path("drive"), bench.path("vehicle.toml"));
    std::fs::write(&vehicle, "format = 1 # as it was\n").unwrap();
    let wire = Wire::new();
    let board = source("board", &wire.name, ",250000,pulse-board");
    let args = [
        "--into",
        text(&into),
        "--source",
        &board,
        "--vehicle",
        text(&vehicle),
        "--clock-scale",
        "4",
    ];
    let mut program = Program::record(&args);
    program.wait_for("opened");
    program.end_by(SIGINT);
    let (records, _) = read(&into);
    let texts: Vec<_> = records.iter().filter(|r| r.kind == Kind::Text).collect();
    let find = |source, title: &str| {
        let texts = texts.iter().filter(|r| r.source == source).map(|r| Text::from_bytes(&r.bytes));
        texts.into_iter().find(|t| t.title == title).map(|t| t.body)
    };
    assert_eq!(find(RECORDER, title::VEHICLE_FILE).as_deref(), Some("format = 1 # as it was\n"));
    assert_eq!(find(0, title::SOURCE_NAME).as_deref(), Some("board"));
    assert_eq!(find(0, title::SOURCE_KIND).as_deref(), Some("pulse-board"));
    assert_eq!(find(RECORDER, title::CLOCK_SCALE).as_deref(), Some("4"));
    let settings = find(RECORDER, title::LOGGER_SETTINGS).unwrap();
    assert!(settings.contains("baud = 250000"), "{settings}");
}

#[test]
fn an_unplugged_device_is_found_again_under_another_name() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let mut first = Wire::new();
    let port = bench.point("board-17", &first.name);
    let mut program =
        Program::record(&["--into", text(&into), "--source", &source("board", &port, "")]);
    program.wait_for("opened");
    first.send(b"before ");
    wait_for_bytes(&into, 0, 7);
    drop(first);
    program.wait_for("lost");
    let mut second = Wire::new();
    bench.point("board-17", &second.name);
    program.wait_for("found again");
    second.send(b"after");
    wait_for_bytes(&into, 0, 12);
    let over = program.end_by(SIGTERM);
    assert_eq!(over.code, Some(4), "recorded with a hole: {}", over.said);
    assert!(over.said.contains("board: lost 1 times"), "{}", over.said);
    let (records, closed) = read(&into);
    assert!(closed);
    assert_eq!(bytes_of(&records, 0), b"before after");
    let whole = [Kind::Opened, Kind::Bytes, Kind::Lost, Kind::Found, Kind::Bytes];
    assert_eq!(story(&records, 0), whole);
}

#[test]
fn a_device_that_is_absent_at_the_start_is_picked_up_and_holds_up_no_other() {
    let bench = Bench::new();
    let (into, port) = (bench.path("drive"), bench.path("late"));
    let mut present = Wire::new();
    let (late, there) = (source("late", &port, ""), source("there", &present.name, ""));
    let args = ["--into", text(&into), "--source", &late, "--source", &there];
    let mut program = Program::record(&args);
    program.wait_for("late: ");
    present.send(b"already here");
    wait_for_bytes(&into, 1, 12);
    let mut wire = Wire::new();
    bench.point("late", &wire.name);
    program.wait_for("late: opened");
    wire.send(b"here now");
    wait_for_bytes(&into, 0, 8);
    let over = program.end_by(SIGTERM);
    assert_eq!(over.code, Some(0), "{}", over.said);
    assert_eq!(bytes_of(&read(&into).0, 0), b"here now");
}

#[test]
fn bytes_in_flight_when_the_plug_is_pulled_are_kept_up_to_some_point_and_never_mixed() {
    let bench = Bench::new();
    for seed in 0..5 {
        let into = bench.path(&format!("drive-{seed}"));
        let mut wire = Wire::new();
        let port = source("s", &wire.name, "");
        let mut program = Program::record(&["--into", text(&into), "--source", &port]);
        program.wait_for("opened");
        let sent = Noise::new(seed).bytes(13_000);
        wire.send(&sent[..10_000]);
        wait_for_bytes(&into, 0, 10_000);
        wire.send(&sent[10_000..]);
        drop(wire);
        program.wait_for("lost");
        program.end_by(SIGTERM);
        let (records, closed) = read(&into);
        let kept = bytes_of(&records, 0);
        assert!(closed && kept.len() >= 10_000 && sent.starts_with(&kept), "{} bytes", kept.len());
    }
}

#[test]
fn both_signals_close_the_capture_cleanly() {
    for signal in [SIGINT, SIGTERM] {
        let bench = Bench::new();
        let into = bench.path("drive");
        let mut wire = Wire::new();
        let port = source("s", &wire.name, "");
        let mut program = Program::record(&["--into", text(&into), "--source", &port]);
        program.wait_for("opened");
        wire.send(b"the last words");
        let over = program.end_by(signal);
        assert_eq!(over.code, Some(0), "{}", over.said);
        let (records, closed) = read(&into);
        assert!(closed);
        assert_eq!(bytes_of(&records, 0), b"the last words", "what was in the line is drained");
        assert!(!into.join("recorder.lock").exists());
    }
}

#[test]
fn a_pulse_board_is_asked_to_finish_and_its_closing_sentence_is_the_last_thing_kept() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let wire = Wire::new();
    let board = source("board", &wire.name, ",pulse-board");
    let mut program = Program::record(&["--into", text(&into), "--source", &board]);
    program.wait_for("opened");
    let body = "PWWNZ,07,00000000,0001,00000007,C,0000";
    let checksum = body.bytes().fold(0, |sum, byte| sum ^ byte);
    let closing = format!("${body}*{checksum:02X}\r\n");
    let mut device = wire.device();
    let answer = closing.clone();
    let board = std::thread::spawn(move || {
        let mut asked = [0; 11];
        device.read_exact(&mut asked).unwrap();
        std::io::Write::write_all(&mut device, answer.as_bytes()).unwrap();
        asked
    });
    let over = program.end_by(SIGTERM);
    assert_eq!(over.code, Some(0), "{}", over.said);
    assert_eq!(&board.join().unwrap(), b"$PWWNQ*4F\r\n");
    assert_eq!(bytes_of(&read(&into).0, 0), closing.as_bytes());
}

#[test]
fn a_second_signal_ends_at_once_and_what_arrived_is_kept() {
    let bench = Bench::new();
    let (into, settings) = (bench.path("drive"), bench.path("settings.toml"));
    let mut wire = Wire::new();
    let text_of = format!(
        "format = 1\ninto = \"drive\"\n[limits]\nclosing_wait_s = 100000.0\n\
         [[source]]\nname = \"board\"\nport = \"{}\"\nkind = \"pulse-board\"\n",
        wire.name.display()
    );
    std::fs::write(&settings, text_of).unwrap();
    let mut program = Program::record(&["--settings", text(&settings)]);
    program.wait_for("opened");
    wire.send(b"kept");
    program.signal(SIGINT);
    program.wait_for("stopping");
    let over = program.end_by(SIGINT);
    assert_eq!(over.code, Some(4), "{}", over.said);
    let (records, closed) = read(&into);
    assert_eq!(bytes_of(&records, 0), b"kept");
    assert!(!closed, "a board that may have had more to say was not waited for");
}

#[test]
fn a_killed_recorder_leaves_everything_that_was_synced() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let mut wire = Wire::new();
    let port = source("s", &wire.name, "");
    let mut program = Program::record(&["--into", text(&into), "--source", &port]);
    program.wait_for("opened");
    let sent = Noise::new(3).bytes(50_000);
    wire.send(&sent);
    wait_for_bytes(&into, 0, sent.len());
    program.end_by(SIGKILL);
    let (records, closed) = read(&into);
    assert!(bytes_of(&records, 0) == sent && !closed);
}

#[test]
fn the_next_recording_finds_one_that_was_killed_and_notes_what_it_lacks() {
    let bench = Bench::new();
    let (first, second) = (bench.path("first"), bench.path("second"));
    let mut wire = Wire::new();
    let port = source("s", &wire.name, "");
    let mut program = Program::record(&["--into", text(&first), "--source", &port]);
    program.wait_for("opened");
    wire.send(b"before the kill");
    wait_for_bytes(&first, 0, 15);
    let killed = program.id();
    program.end_by(SIGKILL);
    let before = std::fs::read(first.join("segment-000001.wwc")).unwrap();
    let mut program = Program::record(&["--into", text(&second), "--source", &port]);
    program.wait_for("was cut off");
    assert_eq!(program.end_by(SIGTERM).code, Some(0));
    let note = std::fs::read_to_string(first.join("recovered.txt")).unwrap();
    assert!(note.contains(&format!("process {killed}")), "{note}");
    assert_eq!(std::fs::read(first.join("segment-000001.wwc")).unwrap(), before);
}

#[test]
fn a_port_in_use_is_refused_with_the_holder_named_and_nothing_made() {
    let bench = Bench::new();
    let (into, other) = (bench.path("drive"), bench.path("other"));
    let wire = Wire::new();
    let port = source("s", &wire.name, "");
    let mut program = Program::record(&["--into", text(&into), "--source", &port]);
    program.wait_for("opened");
    let second = Program::record(&["--into", text(&other), "--source", &port]).end();
    assert_eq!(second.code, Some(5), "{}", second.said);
    assert!(second.said.contains(&format!("process {}", program.id())), "{}", second.said);
    assert!(!other.exists());
    assert_eq!(program.end_by(SIGTERM).code, Some(0));
}

#[test]
fn a_capture_is_never_overwritten_and_a_running_one_names_its_recorder() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let wires = [Wire::new(), Wire::new()];
    let ports = wires.each_ref().map(|wire| source("s", &wire.name, ""));
    let mut program = Program::record(&["--into", text(&into), "--source", &ports[0]]);
    program.wait_for("opened");
    let again = || Program::record(&["--into", text(&into), "--source", &ports[1]]).end();
    let during = again();
    assert_eq!(during.code, Some(6));
    assert!(during.said.contains(&format!("process {}", program.id())), "{}", during.said);
    program.end_by(SIGTERM);
    let before = read(&into).0;
    let after = again();
    assert_eq!(after.code, Some(6));
    assert!(after.said.contains("never overwritten"), "{}", after.said);
    assert_eq!(read(&into).0, before);
}

#[test]
fn a_port_without_permission_is_refused_with_the_cure() {
    let bench = Bench::new();
    let (into, program) = (bench.path("drive"), bench.path("wheelwitness-log"));
    let wire = Wire::new();
    std::fs::copy(env!("CARGO_BIN_EXE_wheelwitness-log"), &program).unwrap();
    std::fs::set_permissions(&wire.name, std::fs::Permissions::from_mode(0o600)).unwrap();
    let mut command = Command::new(&program);
    let port = source("s", &wire.name, "");
    command.args(["record", "--into", text(&into), "--source", &port]);
    if nix::unistd::geteuid().is_root() {
        command.uid(65_534).gid(65_534);
    } else {
        std::fs::set_permissions(&wire.name, std::fs::Permissions::from_mode(0o000)).unwrap();
    }
    let over = Program::start(&mut command).end();
    assert_eq!(over.code, Some(5), "{}", over.said);
    for word in [text(&wire.name), "permission denied", "dialout", "usermod -aG"] {
        assert!(over.said.contains(word), "{word:?} is missing in {}", over.said);
    }
    assert!(!into.exists());
}

#[test]
fn what_is_no_serial_port_and_what_was_mistyped_is_refused() {
    let bench = Bench::new();
    let (into, file) = (bench.path("drive"), bench.path("file"));
    std::fs::write(&file, "").unwrap();
    let no_port =
        Program::record(&["--into", text(&into), "--source", &source("s", &file, "")]).end();
    assert_eq!(no_port.code, Some(5));
    assert!(no_port.said.contains("not a serial port"), "{}", no_port.said);
    let wire = Wire::new();
    let own = std::fs::File::options().read(true).write(true).open(&wire.name).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_wheelwitness-log"));
    command.args(["record", "--into", text(&into), "--source", &source("s", &wire.name, "")]);
    let own_terminal = command.stdin(own).stderr(Stdio::null()).status().unwrap();
    assert_eq!(own_terminal.code(), Some(5), "the terminal that it is called from is no source");
    assert_eq!(Program::record(&["--into", text(&into)]).end().code, Some(2));
    assert_eq!(Program::record(&["--source", "s=/dev/x,fast"]).end().code, Some(2));
    let missing = bench.path("missing.toml");
    assert_eq!(Program::record(&["--settings", text(&missing)]).end().code, Some(3));
    assert!(!into.exists());
}

#[test]
fn an_unplugged_device_costs_no_processor_time() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let wire = Wire::new();
    let port = source("s", &wire.name, "");
    let mut program = Program::record(&["--into", text(&into), "--source", &port]);
    program.wait_for("opened");
    drop(wire);
    program.wait_for("lost");
    let before = processor_ticks(program.id());
    // Not a synchronisation but the measuring time: a loop that spins would use all of it.
    let measured = Duration::from_secs(2);
    std::thread::sleep(measured);
    let used_ticks = processor_ticks(program.id()) - before;
    // 100 ticks a second (proc_pid_stat(5), sysconf(_SC_CLK_TCK) on Linux): 10 % of one processor.
    assert!(used_ticks <= 20, "{used_ticks} ticks in {measured:?}");
    assert_eq!(program.end_by(SIGTERM).code, Some(4));
}

#[test]
fn a_bad_plug_leaves_no_open_file_behind() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let mut wire = Wire::new();
    let port = bench.point("board-17", &wire.name);
    let mut program =
        Program::record(&["--into", text(&into), "--source", &source("s", &port, "")]);
    program.wait_for("opened");
    let open_files = |id| std::fs::read_dir(format!("/proc/{id}/fd")).unwrap().count();
    let before = open_files(program.id());
    for time in 1..=20 {
        wire.send(b"x");
        wait_for_bytes(&into, 0, time);
        drop(wire);
        program.wait_for("lost");
        wire = Wire::new();
        bench.point("board-17", &wire.name);
        program.wait_for("found again");
    }
    assert_eq!(open_files(program.id()), before);
    assert_eq!(program.end_by(SIGTERM).code, Some(4));
}

/// Processor time of a process in ticks, user and system: fields 14 and 15 of proc_pid_stat(5).
fn processor_ticks(id: u32) -> u64 {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap();
    let after_name = stat.rsplit_once(") ").unwrap().1;
    let fields: Vec<_> = after_name.split(' ').collect();
    fields[11].parse::<u64>().unwrap() + fields[12].parse::<u64>().unwrap()
}

#[test]
fn bytes_at_the_wrong_speed_bring_a_hint() {
    let bench = Bench::new();
    let into = bench.path("drive");
    let wire = Wire::new();
    let port = source("gnss", &wire.name, ",gnss");
    let mut program = Program::record(&["--into", text(&into), "--source", &port]);
    program.wait_for("opened");
    let mut device = wire.device();
    let (go_on, ended) = std::sync::mpsc::channel::<()>();
    let noise = std::thread::spawn(move || {
        let mut noise = Noise::new(12);
        while ended.try_recv() == Err(std::sync::mpsc::TryRecvError::Empty) {
            std::io::Write::write_all(&mut device, &noise.bytes(100)).unwrap();
            std::thread::sleep(Duration::from_millis(20));
        }
    });
    program.wait_for("is 9600 baud the right speed");
    drop(go_on);
    noise.join().unwrap();
    let over = program.end_by(SIGTERM);
    assert_eq!(over.code, Some(0), "{}", over.said);
    assert!(over.said.chars().all(|c| c == '\n' || !c.is_control()), "{:?}", over.said);
}

#[test]
fn ports_are_listed_by_the_program() {
    let output =
        Command::new(env!("CARGO_BIN_EXE_wheelwitness-log")).arg("ports").output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("serial port") || text.contains("device  /dev/"), "{text}");
}
