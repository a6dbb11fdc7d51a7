//! pcapng, the exchange format of network tools: the few blocks of it that CAN traffic needs.
//!
//! After the Internet-Draft "PCAP Next Generation (pcapng) Capture File Format". Read: section
//! headers of both byte orders, interface descriptions, enhanced packets; everything else is passed
//! over. Written: the same three, little-endian, times in nanoseconds. A library was considered;
//! those that write bring more than these three blocks are long.

use std::io::{self, Read, Write};

/// Link type of CAN frames as [`crate::can`] writes them: LINKTYPE_CAN_SOCKETCAN.
pub const LINKTYPE_CAN: u16 = 227;
/// What every pcapng file begins with; the same in both byte orders.
pub const MAGIC: [u8; 4] = [0x0a, 0x0d, 0x0d, 0x0a];

const SECTION: u32 = 0x0a0d_0d0a;
const BYTE_ORDER: u32 = 0x1a2b_3c4d;
const INTERFACE: u32 = 1;
const PACKET: u32 = 6;
/// A longer block is taken for damage.
const MAX_BLOCK_BYTES: u32 = 16 * 1024 * 1024;
/// Type, length, and the length again.
const FRAME_BYTES: u32 = 12;

const OPTION_NAME: u16 = 2;
const OPTION_RESOLUTION: u16 = 9;
const OPTION_OFFSET: u16 = 14;

/// Why a file cannot be read on.
#[derive(Debug, thiserror::Error)]
pub enum PcapngError {
    /// A block is not what it should be.
    #[error("block {block} at byte {offset}: {problem}")]
    Block {
        /// Its number, from 1.
        block: u64,
        /// Where it begins.
        offset: u64,
        /// What is wrong.
        problem: String,
    },
    /// The medium says no.
    #[error("cannot be read: {0}")]
    Reading(#[from] io::Error),
}

/// Where packets were captured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Interface {
    /// What the bytes of its packets are; [`LINKTYPE_CAN`] is what matters here.
    pub link_type: u16,
    /// Its name, such as `can0`.
    pub name: Option<String>,
    /// As in the file: a power of 10, or with the top bit a power of 2.
    resolution: u8,
    offset_s: i64,
}

/// One packet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packet {
    /// Its interface.
    pub interface: Interface,
    /// Number of the interface in the file, over all sections.
    pub interface_number: u64,
    /// Nanoseconds since 1970.
    pub time_ns: i64,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Reads one file, block by block.
#[derive(Debug)]
pub struct Reader<R> {
    from: R,
    big_endian: bool,
    interfaces: Vec<Interface>,
    /// Interfaces of earlier sections.
    interfaces_before: u64,
    block: u64,
    offset: u64,
    next_offset: u64,
    cut: bool,
}

impl<R: Read> Reader<R> {
    /// Reads from the beginning of a file.
    pub fn new(from: R) -> Self {
        Reader {
            from,
            big_endian: false,
            interfaces: Vec::new(),
            interfaces_before: 0,
            block: 0,
            offset: 0,
            next_offset: 0,
            cut: false,
        }
    }

    /// The next packet; `None` at the end of the file, also where it was [cut](Self::is_cut).
    pub fn next_packet(&mut self) -> Result<Option<Packet>, PcapngError> {
        while let Some((kind, body)) = self.next_block()? {
            match kind {
                INTERFACE => self.take_interface(&body)?,
                PACKET => return self.packet(&body).map(Some),
                _ => {}
            }
        }
        Ok(None)
    }

    /// Whether the file ended in the middle of a block.
    pub fn is_cut(&self) -> bool {
        self.cut
    }

    /// Number of the block last read, from 1, and where it begins.
    pub fn place(&self) -> (u64, u64) {
        (self.block, self.offset)
    }

    /// Type and content of the next block.
    fn next_block(&mut self) -> Result<Option<(u32, Vec<u8>)>, PcapngError> {
        (self.block, self.offset) = (self.block + 1, self.next_offset);
        let head = self.bytes(8)?;
        let Some([k0, k1, k2, k3, l0, l1, l2, l3]) = head.first_chunk().copied() else {
            self.cut = !head.is_empty();
            return Ok(None);
        };
        let mut kind = self.u32([k0, k1, k2, k3]);
        if self.block == 1 && kind != SECTION {
            return Err(self.problem("it is no section header: this is no pcapng file"));
        }
        let mut body = Vec::new();
        if kind == SECTION {
            body = self.bytes(4)?;
            let Some(order) = body.first_chunk().copied() else { return Ok(self.cut_here()) };
            self.begin_section(order)?;
            kind = SECTION;
        }
        let length = self.u32([l0, l1, l2, l3]);
        let least = FRAME_BYTES + if kind == SECTION { 16 } else { 0 };
        if length < least || !length.is_multiple_of(4) || length > MAX_BLOCK_BYTES {
            return Err(self.problem(&format!("its length cannot be {length}")));
        }
        let rest = self.bytes(length as usize - 8 - body.len())?;
        body.extend_from_slice(&rest);
        if body.len() < length as usize - 8 {
            return Ok(self.cut_here());
        }
        let again = body.split_off(body.len() - 4);
        if again.first_chunk().map(|bytes| self.u32(*bytes)) != Some(length) {
            return Err(self.problem("its two lengths differ"));
        }
        if kind == SECTION {
            self.check_version(&body)?;
        }
        Ok(Some((kind, body)))
    }

    fn cut_here<T>(&mut self) -> Option<T> {
        self.cut = true;
        None
    }

    fn begin_section(&mut self, order: [u8; 4]) -> Result<(), PcapngError> {
        self.interfaces_before += self.interfaces.len() as u64;
        self.interfaces.clear();
        self.big_endian = false;
        if self.u32(order) == BYTE_ORDER {
            return Ok(());
        }
        self.big_endian = true;
        if self.u32(order) == BYTE_ORDER {
            return Ok(());
        }
        Err(self.problem("its byte order cannot be told"))
    }

    fn check_version(&self, body: &[u8]) -> Result<(), PcapngError> {
        match body.get(4..6).and_then(|bytes| bytes.first_chunk()) {
            Some(major) if self.u16(*major) == 1 => Ok(()),
            Some(major) => {
                Err(self.problem(&format!("pcapng version {} is not known", self.u16(*major))))
            }
            None => Err(self.problem("it is too short")),
        }
    }

    fn take_interface(&mut self, body: &[u8]) -> Result<(), PcapngError> {
        let mut rest = body;
        let link_type = self.take_u16(&mut rest)?;
        self.take_u16(&mut rest)?;
        self.take_u32(&mut rest)?;
        let mut interface = Interface { link_type, name: None, resolution: 6, offset_s: 0 };
        while rest.len() >= 4 {
            let (code, length) = (self.take_u16(&mut rest)?, self.take_u16(&mut rest)?);
            let value = self.take(&mut rest, usize::from(length))?;
            match (code, value) {
                (0, _) => break,
                (OPTION_NAME, name) => interface.name = Some(name_of(name)),
                (OPTION_RESOLUTION, [resolution]) => interface.resolution = *resolution,
                (OPTION_OFFSET, seconds) => interface.offset_s = self.seconds(seconds)?,
                _ => {}
            }
        }
        self.interfaces.push(interface);
        Ok(())
    }

    fn seconds(&self, value: &[u8]) -> Result<i64, PcapngError> {
        let mut bytes = *value.first_chunk::<8>().ok_or_else(|| self.problem("it is too short"))?;
        if self.big_endian {
            bytes.reverse();
        }
        Ok(i64::from_le_bytes(bytes))
    }

    fn packet(&self, body: &[u8]) -> Result<Packet, PcapngError> {
        let mut rest = body;
        let number = self.take_u32(&mut rest)?;
        let (high, low) = (self.take_u32(&mut rest)?, self.take_u32(&mut rest)?);
        let captured = self.take_u32(&mut rest)?;
        self.take_u32(&mut rest)?;
        let Some(interface) = self.interfaces.get(number as usize) else {
            return Err(self.problem(&format!("its interface {number} was never described")));
        };
        let ticks = u64::from(high) << 32 | u64::from(low);
        let time_ns =
            interface.time_ns(ticks).ok_or_else(|| self.problem("its time is no date"))?;
        let bytes = self.take(&mut rest, captured as usize)?.to_vec();
        let interface_number = self.interfaces_before + u64::from(number);
        Ok(Packet { interface: interface.clone(), interface_number, time_ns, bytes })
    }

    /// So many bytes, and what pads them to a multiple of four.
    fn take<'b>(&self, rest: &mut &'b [u8], length: usize) -> Result<&'b [u8], PcapngError> {
        let padded = length.checked_next_multiple_of(4).and_then(|n| rest.split_at_checked(n));
        let (value, after) = padded.ok_or_else(|| self.problem("it is too short"))?;
        *rest = after;
        Ok(&value[..length])
    }

    fn take_u32(&self, rest: &mut &[u8]) -> Result<u32, PcapngError> {
        let (bytes, after) =
            rest.split_first_chunk().ok_or_else(|| self.problem("it is too short"))?;
        *rest = after;
        Ok(self.u32(*bytes))
    }

    fn take_u16(&self, rest: &mut &[u8]) -> Result<u16, PcapngError> {
        let (bytes, after) =
            rest.split_first_chunk().ok_or_else(|| self.problem("it is too short"))?;
        *rest = after;
        Ok(self.u16(*bytes))
    }

    fn u32(&self, mut bytes: [u8; 4]) -> u32 {
        if self.big_endian {
            bytes.reverse();
        }
        u32::from_le_bytes(bytes)
    }

    fn u16(&self, mut bytes: [u8; 2]) -> u16 {
        if self.big_endian {
            bytes.reverse();
        }
        u16::from_le_bytes(bytes)
    }

    /// The next bytes, fewer at the end of the file. Memory is taken as they come, so that a
    /// length that lies costs nothing.
    fn bytes(&mut self, length: usize) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        (&mut self.from).take(length as u64).read_to_end(&mut bytes)?;
        self.next_offset += bytes.len() as u64;
        Ok(bytes)
    }

    fn problem(&self, problem: &str) -> PcapngError {
        let (block, offset) = self.place();
        PcapngError::Block { block, offset, problem: problem.to_owned() }
    }
}

/// Text of an option; some writers end it with a zero.
fn name_of(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).trim_end_matches('\0').to_owned()
}

impl Interface {
    /// Nanoseconds since 1970; `None` beyond the year 2262.
    fn time_ns(&self, ticks: u64) -> Option<i64> {
        let scaled = i128::from(ticks) * 1_000_000_000;
        let digits = u32::from(self.resolution & 0x7f);
        let ns = if self.resolution & 0x80 != 0 {
            scaled >> digits
        } else {
            10_i128.checked_pow(digits).map_or(0, |unit| scaled / unit)
        };
        i64::try_from(ns + i128::from(self.offset_s) * 1_000_000_000).ok()
    }
}

/// Writes one file.
#[derive(Debug)]
pub struct Writer<W> {
    into: W,
    interfaces: u32,
}

impl<W: Write> Writer<W> {
    /// Begins a file.
    pub fn new(into: W) -> io::Result<Self> {
        let mut writer = Writer { into, interfaces: 0 };
        let mut body = BYTE_ORDER.to_le_bytes().to_vec();
        body.extend_from_slice(&1_u16.to_le_bytes());
        body.extend_from_slice(&0_u16.to_le_bytes());
        // The length of the section is not known beforehand.
        body.extend_from_slice(&u64::MAX.to_le_bytes());
        writer.block(SECTION, &body)?;
        Ok(writer)
    }

    /// Describes an interface whose packets are CAN frames, and returns its number.
    pub fn interface(&mut self, name: Option<&str>) -> io::Result<u32> {
        let mut body = u32::from(LINKTYPE_CAN).to_le_bytes().to_vec();
        body.extend_from_slice(&0_u32.to_le_bytes());
        if let Some(name) = name {
            let end = name.floor_char_boundary(MAX_NAME_BYTES);
            put_option(&mut body, OPTION_NAME, &name.as_bytes()[..end]);
        }
        put_option(&mut body, OPTION_RESOLUTION, &[9]);
        put_option(&mut body, 0, &[]);
        self.block(INTERFACE, &body)?;
        self.interfaces += 1;
        Ok(self.interfaces - 1)
    }

    /// Writes a packet of an interface, at a time in nanoseconds since 1970.
    pub fn packet(&mut self, interface: u32, time_ns: u64, bytes: &[u8]) -> io::Result<()> {
        let mut body = interface.to_le_bytes().to_vec();
        body.extend_from_slice(&((time_ns >> 32) as u32).to_le_bytes());
        body.extend_from_slice(&(time_ns as u32).to_le_bytes());
        body.extend_from_slice(&(bytes.len() as u32).to_le_bytes());
        body.extend_from_slice(&(bytes.len() as u32).to_le_bytes());
        put_padded(&mut body, bytes);
        self.block(PACKET, &body)
    }

    /// Hands back what was written to.
    pub fn finish(self) -> W {
        self.into
    }

    fn block(&mut self, kind: u32, body: &[u8]) -> io::Result<()> {
        let length = (body.len() as u32 + FRAME_BYTES).to_le_bytes();
        self.into.write_all(&kind.to_le_bytes())?;
        self.into.write_all(&length)?;
        self.into.write_all(body)?;
        self.into.write_all(&length)
    }
}

/// A longer name of an interface is cut.
const MAX_NAME_BYTES: usize = 1024;

fn put_option(body: &mut Vec<u8>, code: u16, value: &[u8]) {
    body.extend_from_slice(&code.to_le_bytes());
    body.extend_from_slice(&(value.len() as u16).to_le_bytes());
    put_padded(body, value);
}

fn put_padded(body: &mut Vec<u8>, bytes: &[u8]) {
    body.extend_from_slice(bytes);
    body.resize(body.len().next_multiple_of(4), 0);
}
