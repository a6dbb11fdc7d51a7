//! What is on a FAT16 medium, read without the kernel's driver: where a file is said to be longer
//! than what of it arrived, Linux gives nothing of the page in which it ends, and sets the medium
//! read-only. This looks at the bytes.
//!
//! Source of the layout: Microsoft, "FAT: General Overview of On-Disk Format", 1.03 (2000), also
//! ECMA-107 (from memory); held against `mkfs.vfat` and the kernel's driver by the trial itself.

use std::path::Path;

/// A file as the medium has it.
pub struct OnMedium {
    /// How long its folder says it is, in bytes.
    pub said: usize,
    /// The bytes of its chain of clusters, whole clusters.
    pub chain: Vec<u8>,
}

impl OnMedium {
    /// What of the file is there.
    pub fn there(&self) -> &[u8] {
        &self.chain[..self.said.min(self.chain.len())]
    }

    /// It is said to be longer than its chain.
    pub fn is_said_too_long(&self) -> bool {
        self.said > self.chain.len()
    }
}

/// Finds the file of `folder` by its short name (8 + 3 characters); `None` if there is none.
pub fn look(image: &Path, folder: &str, name: &str) -> Result<Option<OnMedium>, String> {
    let bytes = std::fs::read(image).map_err(|e| format!("{}: {e}", image.display()))?;
    let medium = Medium::of(&bytes).ok_or("no FAT16 medium")?;
    let Some(folder) = find(medium.root, folder) else { return Ok(None) };
    let inside = medium.chain(folder.first);
    let Some(file) = find(&inside, name) else { return Ok(None) };
    Ok(Some(OnMedium { said: file.length, chain: medium.chain(file.first) }))
}

struct Medium<'a> {
    table: &'a [u8],
    root: &'a [u8],
    clusters: &'a [u8],
    cluster_bytes: usize,
}

impl<'a> Medium<'a> {
    fn of(bytes: &'a [u8]) -> Option<Medium<'a>> {
        let word = |at: usize| bytes.get(at..)?.first_chunk().map(|b| u16::from_le_bytes(*b));
        let sector = usize::from(word(11)?);
        let cluster_bytes = sector * usize::from(*bytes.get(13)?);
        let begin = sector * usize::from(word(14)?);
        let table_bytes = sector * usize::from(word(22)?);
        let root_begin = begin + table_bytes * usize::from(*bytes.get(16)?);
        let root_end = root_begin + 32 * usize::from(word(17)?);
        if cluster_bytes == 0 || table_bytes == 0 {
            return None;
        }
        Some(Medium {
            table: bytes.get(begin..begin + table_bytes)?,
            root: bytes.get(root_begin..root_end)?,
            clusters: bytes.get(root_end..)?,
            cluster_bytes,
        })
    }

    /// The bytes of a chain, up to where it ends or breaks off.
    fn chain(&self, mut cluster: u16) -> Vec<u8> {
        let mut all = Vec::new();
        while (2..0xFFF0).contains(&cluster) && all.len() < self.clusters.len() {
            let begin = usize::from(cluster - 2) * self.cluster_bytes;
            let Some(bytes) = self.clusters.get(begin..begin + self.cluster_bytes) else { break };
            let next = self.table.get(usize::from(cluster) * 2..).and_then(|b| b.first_chunk());
            let next = next.map_or(0, |b| u16::from_le_bytes(*b));
            // A cluster that the table calls free is in no chain yet.
            if next == 0 {
                break;
            }
            all.extend_from_slice(bytes);
            cluster = next;
        }
        all
    }
}

struct Entry {
    first: u16,
    length: usize,
}

/// The entry of this short name, whatever its case.
fn find(entries: &[u8], wanted: &str) -> Option<Entry> {
    const PART_OF_LONG_NAME: u8 = 0x0F;
    let named = |e: &&[u8]| {
        let name = e[..11].to_ascii_lowercase();
        e[11] != PART_OF_LONG_NAME && String::from_utf8_lossy(&name).trim_end() == wanted
    };
    let entry = entries.chunks_exact(32).take_while(|e| e[0] != 0).find(named)?;
    Some(Entry {
        first: u16::from_le_bytes([entry[26], entry[27]]),
        length: u32::from_le_bytes([entry[28], entry[29], entry[30], entry[31]]) as usize,
    })
}
