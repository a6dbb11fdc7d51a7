//! Checksums made right again: behind them a fuzzer would never get.

use wheelwitness_capture::nmea::{checksum, crc16};

/// The layout of `FORMAT.md`: magic, header, both checksums, payload.
const MAGIC: [u8; 8] = *b"\x89WWC\r\n\x1a\n";
const LENGTH_AT: usize = 72;
const HEADER_CRC_AT: usize = 76;
const BLOCK_CRC_AT: usize = 80;
const HEADER_BYTES: usize = 84;

/// Gives every block of a segment the checksums that its bytes ask for, as far as it is there.
pub fn blocks(segment: &[u8]) -> Vec<u8> {
    let mut all = segment.to_vec();
    let mut at = 0;
    while let Some(found) = all[at..].windows(8).position(|eight| eight == MAGIC) {
        at += found;
        let Some(block) = all.get_mut(at..).filter(|block| block.len() >= HEADER_BYTES) else {
            break;
        };
        let crc = crc32c::crc32c(&block[..HEADER_CRC_AT]).to_le_bytes();
        block[HEADER_CRC_AT..BLOCK_CRC_AT].copy_from_slice(&crc);
        let length = block[LENGTH_AT..].first_chunk().map_or(0, |b| u32::from_le_bytes(*b));
        let end = HEADER_BYTES.saturating_add(length as usize);
        if end <= block.len() {
            let head = crc32c::crc32c(&block[..BLOCK_CRC_AT]);
            let crc = crc32c::crc32c_append(head, &block[HEADER_BYTES..end]).to_le_bytes();
            block[BLOCK_CRC_AT..HEADER_BYTES].copy_from_slice(&crc);
        }
        at += MAGIC.len();
    }
    all
}

/// Every line as a framed sentence: as `$` body `*hh`, where the body of a board sentence (which
/// ends with a comma and four digits) gets its CRC-16 too.
pub fn sentences(lines: &[u8]) -> Vec<u8> {
    let mut all = Vec::new();
    for line in lines.split(|byte| *byte == b'\n') {
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        let line = line.strip_prefix(b"$").unwrap_or(line);
        let body = line.split(|byte| *byte == b'*').next().unwrap_or(line);
        let mut body = body.to_vec();
        if let Some(comma) =
            body.iter().rposition(|b| *b == b',').filter(|_| body.starts_with(b"PWWN"))
        {
            body.truncate(comma + 1);
            let crc = crc16(&body);
            body.extend(format!("{crc:04X}").bytes());
        }
        all.push(b'$');
        all.extend(&body);
        all.extend(format!("*{:02X}\r\n", checksum(&body)).bytes());
    }
    all
}
