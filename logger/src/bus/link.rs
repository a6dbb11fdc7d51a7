//! How an interface is doing, asked of the kernel over its route socket (`rtnetlink(7)`,
//! `linux/if_link.h`, `linux/can/netlink.h`). Asking needs no rights.

use super::{Controller, Link};
use crate::port::OpenError;
use nix::sys::socket::{
    AddressFamily, MsgFlags, NetlinkAddr, SockFlag, SockProtocol, SockType, recv, sendto, socket,
};
use std::fs;
use std::io;
use std::os::fd::AsRawFd;
use std::path::Path;

/// Where the kernel lists interfaces.
const TABLE: &str = "/sys/class/net";
/// `ARPHRD_CAN`: the type of a CAN interface.
const CAN_TYPE: &str = "280";

/// The longest answer about one interface.
const ANSWER_BYTES: usize = 16 * 1024;
const MESSAGE_HEAD: usize = 16;
const LINK_HEAD: usize = 16;
const NEW_LINK: u16 = 16;
const GET_LINK: u16 = 18;
const REQUEST: u16 = 1;
/// `IFF_UP`.
const UP: u32 = 1;
/// `CAN_CTRLMODE_LISTENONLY`.
const LISTEN_ONLY: u32 = 2;

/// Numbers of attributes.
const LINK_INFO: u16 = 18;
const INFO_DATA: u16 = 2;
const CAN_BIT_TIMING: u16 = 1;
const CAN_STATE: u16 = 4;
const CAN_MODE: u16 = 5;

/// An interface, by the name and the number that it had when it was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Named {
    name: String,
    index: u32,
}

/// Finds the CAN interface with this name.
pub fn find(name: &str) -> Result<Named, OpenError> {
    let is_a_name = !name.is_empty() && !name.contains('/') && name != "." && name != "..";
    if !is_a_name {
        return Err(OpenError::NotABus(name.into()));
    }
    match (entry(name, "type").as_deref(), index_of(name)) {
        (Some(CAN_TYPE), Some(index)) => Ok(Named { name: name.into(), index }),
        (Some(_), Some(_)) => Err(OpenError::NotABus(name.into())),
        _ => Err(OpenError::Absent(name.into())),
    }
}

/// What the kernel's table says of an interface.
fn entry(name: &str, what: &str) -> Option<String> {
    let text = fs::read_to_string(Path::new(TABLE).join(name).join(what)).ok()?;
    Some(text.trim().to_owned())
}

/// The number of an interface, read from the table. Asked by name for one that is not there, the
/// kernel of a privileged user starts a program that looks for a driver (`dev_load`, from memory;
/// measured in the guest: nearly all of its processor, and returns seen 1.8 s late).
fn index_of(name: &str) -> Option<u32> {
    entry(name, "ifindex")?.parse().ok()
}

/// The names of all CAN interfaces in a table of interfaces, and how each is doing.
pub fn list() -> Vec<(String, Link)> {
    let entries = fs::read_dir(TABLE).into_iter().flatten().flatten();
    let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
    let mut all: Vec<_> = names
        .filter_map(|name| find(&name).ok())
        .map(|seat| (seat.name.clone(), seat.look()))
        .collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}

impl Named {
    /// Its number.
    pub fn index(&self) -> u32 {
        self.index
    }

    /// How it is doing; not present if its name is gone or belongs to another one now.
    pub fn look(&self) -> Link {
        if index_of(&self.name) != Some(self.index) {
            return Link::default();
        }
        // An interface that goes while it is asked about is no longer present.
        ask(self.index).ok().and_then(|answer| understand(&answer)).unwrap_or_default()
    }
}

fn ask(index: u32) -> io::Result<Vec<u8>> {
    let (family, flags) = (AddressFamily::Netlink, SockFlag::SOCK_CLOEXEC);
    let asking = socket(family, SockType::Raw, flags, SockProtocol::NetlinkRoute)?;
    let (fd, kernel) = (asking.as_raw_fd(), NetlinkAddr::new(0, 0));
    sendto(fd, &question(index), &kernel, MsgFlags::empty())?;
    let mut answer = vec![0; ANSWER_BYTES];
    let length = recv(fd, &mut answer, MsgFlags::empty())?;
    answer.truncate(length);
    Ok(answer)
}

/// A request for the link with this number: message head and link head, nothing else.
fn question(index: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    put_u32(&mut bytes, (MESSAGE_HEAD + LINK_HEAD) as u32);
    put_u32(&mut bytes, pair(GET_LINK, REQUEST));
    bytes.extend_from_slice(&[0; 8]);
    bytes.extend_from_slice(&[0; 4]);
    put_u32(&mut bytes, index);
    bytes.extend_from_slice(&[0; 8]);
    bytes
}

/// Two 16-bit numbers, one after the other, as the host keeps them in 32 bits.
#[expect(clippy::host_endian_bytes, reason = "messages of the kernel are in the host's order")]
fn pair(first: u16, second: u16) -> u32 {
    let ([a, b], [c, d]) = (first.to_ne_bytes(), second.to_ne_bytes());
    u32::from_ne_bytes([a, b, c, d])
}

#[expect(clippy::host_endian_bytes, reason = "messages of the kernel are in the host's order")]
fn put_u32(into: &mut Vec<u8>, number: u32) {
    into.extend_from_slice(&number.to_ne_bytes());
}

#[expect(clippy::host_endian_bytes, reason = "messages of the kernel are in the host's order")]
fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..)?.first_chunk::<4>().map(|four| u32::from_ne_bytes(*four))
}

#[expect(clippy::host_endian_bytes, reason = "messages of the kernel are in the host's order")]
fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..)?.first_chunk::<2>().map(|two| u16::from_ne_bytes(*two))
}

/// Reads an answer; `None` if it is not about a link.
fn understand(answer: &[u8]) -> Option<Link> {
    let length = u32_at(answer, 0)? as usize;
    let answer = answer.get(..length)?;
    if u16_at(answer, 4)? != NEW_LINK {
        return None;
    }
    let flags = u32_at(answer, MESSAGE_HEAD + 8)?;
    let attributes = answer.get(MESSAGE_HEAD + LINK_HEAD..)?;
    let info = attribute(attributes, LINK_INFO).unwrap_or_default();
    let controller = attribute(info, INFO_DATA).unwrap_or_default();
    let number = |kind, at| u32_at(attribute(controller, kind)?, at);
    Some(Link {
        present: true,
        up: flags & UP != 0,
        listen_only: number(CAN_MODE, 4).map(|modes| modes & LISTEN_ONLY != 0),
        bit_rate: number(CAN_BIT_TIMING, 0).filter(|rate| *rate != 0),
        controller: number(CAN_STATE, 0).and_then(controller_state),
    })
}

fn controller_state(number: u32) -> Option<Controller> {
    let all = [
        Controller::Active,
        Controller::Warning,
        Controller::Passive,
        Controller::BusOff,
        Controller::Stopped,
        Controller::Sleeping,
    ];
    all.get(number as usize).copied()
}

/// The content of the first attribute of a kind in a row of attributes: each has a length, a kind
/// and its content, filled up to a multiple of four bytes.
fn attribute(mut row: &[u8], kind: u16) -> Option<&[u8]> {
    loop {
        let length = usize::from(u16_at(row, 0)?);
        // The upper two bits are flags.
        let this = u16_at(row, 2)? & 0x3fff;
        let content = row.get(4..length)?;
        if this == kind {
            return Some(content);
        }
        row = row.get(length.next_multiple_of(4)..)?;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn put(row: &mut Vec<u8>, kind: u16, content: &[u8]) {
        put_u32(row, pair(content.len() as u16 + 4, kind));
        row.extend_from_slice(content);
        row.resize(row.len().next_multiple_of(4), 0);
    }

    fn words(numbers: &[u32]) -> Vec<u8> {
        let mut bytes = Vec::new();
        numbers.iter().for_each(|number| put_u32(&mut bytes, *number));
        bytes
    }

    /// An answer as `linux/if_link.h` and `linux/can/netlink.h` describe it (from memory).
    fn answer(flags: u32, controller: &[u8]) -> Vec<u8> {
        let mut info = Vec::new();
        put(&mut info, 1, b"can\0");
        put(&mut info, INFO_DATA, controller);
        let mut row = Vec::new();
        put(&mut row, 3, b"can0\0");
        put(&mut row, LINK_INFO, &info);
        let mut all = words(&[(MESSAGE_HEAD + LINK_HEAD + row.len()) as u32, pair(NEW_LINK, 0)]);
        all.extend(words(&[1, 1, 0, 7, flags, 0]));
        all.extend(row);
        all
    }

    #[test]
    fn state_bit_rate_and_mode_are_read_from_the_answer() {
        let mut controller = Vec::new();
        put(&mut controller, CAN_BIT_TIMING, &words(&[500_000, 875, 0, 0, 0, 0, 0, 0]));
        put(&mut controller, CAN_STATE, &words(&[2]));
        put(&mut controller, CAN_MODE, &words(&[0, 2]));
        let link = understand(&answer(0x41, &controller)).unwrap();
        let wanted = Link {
            present: true,
            up: true,
            listen_only: Some(true),
            bit_rate: Some(500_000),
            controller: Some(Controller::Passive),
        };
        assert_eq!(link, wanted);
        let bare = understand(&answer(0x40, &[])).unwrap();
        assert_eq!(bare, Link { present: true, ..Link::default() });
    }

    #[test]
    fn what_is_no_interface_is_told_from_what_is_absent() {
        assert_eq!(find("/dev/ttyUSB0"), Err(OpenError::NotABus("/dev/ttyUSB0".into())));
        assert_eq!(find("lo"), Err(OpenError::NotABus("lo".into())));
        assert_eq!(find("can99"), Err(OpenError::Absent("can99".into())));
    }

    proptest! {
        #[test]
        fn no_answer_makes_it_panic(
            bytes in prop::collection::vec(any::<u8>(), 0..200),
            n in 0..7usize,
        ) {
            let _ = understand(&bytes);
            let mut cut = answer(1, &bytes);
            cut.truncate(cut.len() - n);
            let _ = understand(&cut);
        }
    }
}
