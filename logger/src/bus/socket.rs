//! The real twin of the bus door: a raw CAN socket of Linux, read and never written.
//!
//! The kernel stamps every frame and counts those for which its buffer had no room (socket options
//! `SO_TIMESTAMPNS` and `SO_RXQ_OVFL`). Both come beside the frame; libraries drop the count, so
//! the message is received here. The count is cumulative and rides on the first frame after a loss.

use super::link::{self, Named};
use super::{Arrival, Bus, Filter, Link, OpenedBus, Raw, Ready, What};
use crate::port::OpenError;
use nix::cmsg_space;
use nix::errno::Errno;
use nix::sys::socket::{ControlMessageOwned, MsgFlags, getsockopt, recvmsg, setsockopt, sockopt};
use nix::sys::time::TimeSpec;
use nix::time::{ClockId, clock_gettime};
use socketcan::{CanFdSocket, CanFilter, Socket, SocketOptions};
use std::io::{self, IoSliceMut};
use std::os::fd::{AsFd, AsRawFd, OwnedFd};
use tokio::io::Interest;
use tokio::io::unix::AsyncFd;
use wheelwitness_capture::can::{FD_FORMAT, MAX_FD_BYTES};

/// Size of the kernel's structure of a classic frame, and of an FD frame (`linux/can.h`).
const CLASSIC_BYTES: usize = 16;
const FD_BYTES: usize = 72;
/// Room for more than the largest frame, so that what is too long is seen to be so.
const ROOM: usize = 128;
/// The buffer asked for. The usual one holds 278 classic frames; this one more than 5,400, over
/// half a second of a full bus of 1 Mbit/s (measured: 766 bytes a frame).
const BUFFER_BYTES: usize = 4 << 20;
/// Frames taken at once, so that other sources get their turn.
const BATCH: usize = 512;

/// A socket from which frames come. Nothing here writes to it.
///
/// It is registered with the runtime only while somebody waits: registered all the time, every
/// frame would wake the thread, whatever it waits for.
pub struct FrameSocket {
    fd: OwnedFd,
    /// Frames lost so far, as the kernel counts: modulo 2^32.
    lost: u32,
    seat: Option<Named>,
    /// Room for what comes beside a frame.
    beside: Vec<u8>,
}

/// Listens to the interface `name`; see [`super::Buses::open`].
pub fn open(name: &str, filters: &[Filter]) -> Result<OpenedBus, OpenError> {
    let seat = link::find(name)?;
    let listening = listen(&seat, filters);
    let (fd, notes) = listening.map_err(|e| classify(name, &e))?;
    let bus = FrameSocket::new(fd, Some(seat));
    Ok(OpenedBus { bus: Box::new(bus), name: name.into(), notes })
}

fn listen(seat: &Named, filters: &[Filter]) -> io::Result<(OwnedFd, Vec<String>)> {
    let socket = CanFdSocket::open_iface(seat.index())?;
    socket.set_error_filter_accept_all()?;
    if !filters.is_empty() {
        let words = filters.iter().map(Filter::words);
        let filters: Vec<_> = words.map(|(id, mask)| CanFilter::new(id, mask)).collect();
        socket.set_filters(&filters)?;
    }
    // The library's socket could write; what is kept of it is a handle without that.
    let socket = socket.as_fd().try_clone_to_owned()?;
    let notes = prepare(&socket)?;
    Ok((socket, notes))
}

/// Asks for a large buffer, for times and for the count of losses.
pub fn prepare(socket: &OwnedFd) -> io::Result<Vec<String>> {
    setsockopt(socket, sockopt::ReceiveTimestampns, &true)?;
    setsockopt(socket, sockopt::RxqOvfl, &1)?;
    // Only the administrator may go beyond the limit of the system.
    if setsockopt(socket, sockopt::RcvBufForce, &BUFFER_BYTES).is_err() {
        setsockopt(socket, sockopt::RcvBuf, &BUFFER_BYTES)?;
    }
    // The kernel gives twice what is asked, and counts its own overhead against it.
    let given = getsockopt(socket, sockopt::RcvBuf)?;
    let is_small = given < BUFFER_BYTES;
    let text = format!(
        "the kernel holds only about {} frames while this computer is busy; for more, type\n    \
         sudo sysctl -w net.core.rmem_max={BUFFER_BYTES}",
        given / BYTES_PER_FRAME
    );
    Ok(is_small.then_some(text).into_iter().collect())
}

/// What a classic frame takes in the kernel's buffer (measured on Linux 6.1: 212,992 bytes hold
/// 278).
const BYTES_PER_FRAME: usize = 766;

fn classify(name: &str, error: &io::Error) -> OpenError {
    match error.raw_os_error().map(Errno::from_raw) {
        Some(Errno::ENODEV) => OpenError::Absent(name.into()),
        Some(Errno::EPERM | Errno::EACCES) => OpenError::Denied(name.into()),
        Some(Errno::EAFNOSUPPORT | Errno::EPROTONOSUPPORT) => OpenError::NoCan(name.into()),
        _ => OpenError::Failed { path: name.into(), text: error.to_string() },
    }
}

impl FrameSocket {
    /// Frames from any datagram socket, in the layout of the kernel's structures: for feeding a
    /// source without an interface. Its link counts as up.
    pub fn over(socket: OwnedFd) -> Self {
        Self::new(socket, None)
    }

    fn new(fd: OwnedFd, seat: Option<Named>) -> Self {
        FrameSocket { fd, lost: 0, seat, beside: cmsg_space!(TimeSpec, u32) }
    }

    /// One message; `None` if none waits.
    fn receive(&mut self, now_ns: i64) -> io::Result<Option<Arrival>> {
        let mut bytes = [0; ROOM];
        let mut room = [IoSliceMut::new(&mut bytes)];
        let (fd, beside) = (self.fd.as_raw_fd(), Some(&mut self.beside[..]));
        let message = match recvmsg::<()>(fd, &mut room, beside, MsgFlags::MSG_DONTWAIT) {
            Ok(message) => message,
            Err(Errno::EAGAIN) => return Ok(None),
            Err(error) => return Err(error.into()),
        };
        let (mut stamp_ns, mut total) = (None, self.lost);
        for part in message.cmsgs().into_iter().flatten() {
            match part {
                ControlMessageOwned::ScmTimestampns(time) => {
                    stamp_ns = Some(nanoseconds(time));
                }
                ControlMessageOwned::RxqOvfl(count) => total = count,
                _ => {}
            }
        }
        let length = message.bytes;
        let lost = total.wrapping_sub(self.lost);
        self.lost = total;
        let age_ns = stamp_ns.map_or(0, |stamp| now_ns - stamp);
        let what = read(&bytes[..length.min(ROOM)]);
        Ok(Some(Arrival { stamp_ns, age_ns, lost, what }))
    }
}

fn nanoseconds(time: TimeSpec) -> i64 {
    time.tv_sec() * 1_000_000_000 + time.tv_nsec()
}

/// Reads the kernel's structure: id, length, flags, two reserved bytes, data (`linux/can.h`).
fn read(bytes: &[u8]) -> What {
    let fd = match bytes.len() {
        CLASSIC_BYTES => false,
        FD_BYTES => true,
        other => return What::NoFrame(other),
    };
    let [w0, w1, w2, w3, length, flags, _, _, rest @ ..] = bytes else {
        return What::NoFrame(bytes.len());
    };
    #[expect(clippy::host_endian_bytes, reason = "the kernel's structures are the host's")]
    let word = u32::from_ne_bytes([*w0, *w1, *w2, *w3]);
    let mut data = [0; MAX_FD_BYTES];
    data[..rest.len()].copy_from_slice(rest);
    let fd_flags = if fd { flags | FD_FORMAT } else { 0 };
    What::Frame(Raw { word, length: *length, fd_flags, data })
}

impl Bus for FrameSocket {
    fn ready(&mut self) -> Ready<'_> {
        Box::pin(async {
            // Errors of a link do not make a socket readable: they are waited for by themselves.
            let interest = Interest::READABLE | Interest::ERROR;
            // SAFETY: the socket is borrowed for as long as it is registered; it is neither
            // changed nor closed meanwhile, and a `BorrowedFd` always tells the same descriptor.
            #[allow(unsafe_code)]
            let waited = unsafe { AsyncFd::register_with_interest(self.fd.as_fd(), interest) }?;
            waited.ready(interest).await?.retain_ready();
            Ok(())
        })
    }

    fn take(&mut self, into: &mut Vec<Arrival>) -> io::Result<bool> {
        let now_ns = clock_gettime(ClockId::CLOCK_REALTIME).map_or(0, nanoseconds);
        for _ in 0..BATCH {
            match self.receive(now_ns)? {
                Some(arrival) => into.push(arrival),
                None => return Ok(false),
            }
        }
        Ok(true)
    }

    fn link(&mut self) -> Link {
        match &self.seat {
            Some(seat) => seat.look(),
            None => Link { present: true, up: true, ..Link::default() },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::UdpSocket;
    use std::time::{Duration, Instant};

    /// A socket that frames come from, and one that sends to it.
    fn pair() -> (FrameSocket, UdpSocket) {
        let receiver = UdpSocket::bind("127.0.0.1:0").unwrap();
        let sender = UdpSocket::bind("127.0.0.1:0").unwrap();
        sender.connect(receiver.local_addr().unwrap()).unwrap();
        let receiver = OwnedFd::from(receiver);
        prepare(&receiver).unwrap();
        (FrameSocket::over(receiver), sender)
    }

    /// Takes until `done` or for a long time.
    fn take_until(socket: &mut FrameSocket, done: impl Fn(&[Arrival]) -> bool) -> Vec<Arrival> {
        let (mut all, until) = (Vec::new(), Instant::now() + Duration::from_secs(30));
        while !done(&all) && Instant::now() < until {
            socket.take(&mut all).unwrap();
        }
        all
    }

    #[test]
    fn what_the_kernel_had_no_room_for_is_counted_exactly() {
        let (mut socket, sender) = pair();
        setsockopt(&socket.fd, sockopt::RcvBuf, &4096).unwrap();
        for _ in 0..500 {
            sender.send(&[0; CLASSIC_BYTES]).unwrap();
        }
        let mut all = take_until(&mut socket, |all| !all.is_empty());
        while socket.take(&mut all).unwrap() {}
        // The count rides on the next one that finds room.
        sender.send(&[1; CLASSIC_BYTES]).unwrap();
        let is_last = |a: &Arrival| matches!(a.what, What::Frame(raw) if raw.length == 1);
        all.extend(take_until(&mut socket, |all| all.iter().any(is_last)));
        let lost: u64 = all.iter().map(|arrival| u64::from(arrival.lost)).sum();
        assert_eq!(all.len() as u64 + lost, 501);
        assert!(lost > 0 && all.iter().all(|arrival| arrival.stamp_ns.is_some()));
    }

    #[test]
    fn only_messages_of_the_two_lengths_are_frames() {
        let (mut socket, sender) = pair();
        let lengths = [0, 1, 15, 16, 17, 71, 72, 73, 200];
        for length in lengths {
            sender.send(&vec![0; length]).unwrap();
        }
        let all = take_until(&mut socket, |all| all.len() == lengths.len());
        let is_frame: Vec<_> = all.iter().map(|a| matches!(a.what, What::Frame(_))).collect();
        assert_eq!(is_frame, lengths.map(|length| length == 16 || length == 72));
    }

    #[test]
    fn an_impossible_length_is_kept_for_the_decoder_and_nothing_is_read_beyond_the_frame() {
        for (bytes, length, kept) in [(CLASSIC_BYTES, 9, 8), (FD_BYTES, 65, 64), (FD_BYTES, 64, 64)]
        {
            let mut message = vec![0xaa; bytes];
            message[..8].copy_from_slice(&[0, 0, 0, 0, length, 0, 0, 0]);
            let What::Frame(raw) = read(&message) else { panic!("{bytes} bytes are a frame") };
            let record = raw.record_bytes(None);
            assert_eq!(record.len(), 8 + 8 + kept);
            let decoded = wheelwitness_capture::can::Received::from_bytes(&record);
            assert_eq!(decoded.is_ok(), usize::from(length) == kept, "{decoded:?}");
        }
    }
}
