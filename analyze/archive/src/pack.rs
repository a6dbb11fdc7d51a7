//! One drive as one file to send: a plain tar file of the newest manifest, the older ones, and
//! every file that is not a page.
//!
//! Pages and figures stay at home: whoever receives a drive makes them anew from the recording,
//! so no page of a stranger is ever opened.

use crate::archive::{Archive, Drive};
use crate::disk;
use crate::error::Error;
use crate::manifest::KeptFile;
use crate::name::FileName;
use std::fs::File;
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use tar::{Builder, EntryType, Header};

/// Name of the pack of a drive.
pub fn pack_name(drive: &Drive) -> String {
    format!("{}.tar", drive.id)
}

impl Archive {
    /// Writes a drive into a new file, whole or not at all. A damaged drive is refused.
    pub fn pack(&self, drive: &Drive, into: &Path) -> Result<u64, Error> {
        let found = self.verify(drive)?;
        if let Some(d) = found.damage.iter().find(|d| !is_page(&d.file)) {
            let (id, file, what) = (&drive.id, &d.file, &d.what);
            return Err(Error::Refused(format!("{id}: {file}: {what}; it was not packed")));
        }
        if into.symlink_metadata().is_ok() {
            let exists = "exists already and is never overwritten; name another file";
            return Err(Error::Refused(format!("{}: {exists}", into.display())));
        }
        let building = partial(into);
        let written = self.write_pack(drive, &building);
        if written.is_err() {
            // Best effort: the error that is reported is the one above.
            let _ = std::fs::remove_file(&building);
        }
        written?;
        disk::settle(&building, into)?;
        disk::plain_length(into).map_err(Error::reading(into))
    }

    fn write_pack(&self, drive: &Drive, path: &Path) -> Result<(), Error> {
        let _ = std::fs::remove_file(path);
        let file = File::create_new(path).map_err(Error::writing(path))?;
        let mut tar = Builder::new(BufWriter::new(file));
        for name in self.travelling(drive)? {
            let source = name.below(&drive.folder);
            let bytes = disk::plain_length(&source).map_err(Error::reading(&source))?;
            let opened = File::open(&source).map_err(Error::reading(&source))?;
            let entry = format!("{}/{name}", drive.id);
            add(&mut tar, &entry, bytes, opened).map_err(Error::writing(path))?;
        }
        let finished = tar.into_inner().and_then(|w| w.into_inner().map_err(|e| e.into_error()));
        finished.and_then(|f| f.sync_all()).map_err(Error::writing(path))
    }

    /// Names of what travels, in the order of the pack: manifests, newest first, then files.
    fn travelling(&self, drive: &Drive) -> Result<Vec<FileName>, Error> {
        let mut names = vec![drive.manifest.file_name()];
        let mut newer = drive.manifest.clone();
        while let Some(hash) = &newer.previous {
            let name = FileName::manifest(newer.generation - 1, hash);
            newer = self.manifest(&drive.folder, &name)?;
            names.push(name);
        }
        let files = drive.manifest.files.iter().filter(|f| !f.is_page());
        names.extend(files.map(|f: &KeptFile| f.name.clone()));
        Ok(names)
    }
}

fn is_page(file: &str) -> bool {
    use crate::name::Role;
    FileName::parse(file).is_some_and(|n| matches!(n.role(), Role::Page(_)))
}

fn partial(into: &Path) -> PathBuf {
    let name = into.file_name().unwrap_or_default().to_string_lossy();
    into.with_file_name(format!(".{name}.partial"))
}

fn add(tar: &mut Builder<impl Write>, name: &str, bytes: u64, from: impl Read) -> io::Result<()> {
    let mut header = Header::new_ustar();
    header.set_entry_type(EntryType::Regular);
    header.set_path(name)?;
    header.set_size(bytes);
    header.set_mode(0o644);
    header.set_mtime(0);
    header.set_cksum();
    tar.append(&header, from.take(bytes))
}
