//! A file system of its own in an image, on which power can be cut.

use crate::bench::{Scratch, must};
use crate::fat::{self, OnMedium};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};
use std::os::fd::AsRawFd;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// Which file system.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum System {
    /// Power is cut by `EXT4_IOC_SHUTDOWN`: from then on nothing reaches the image, not even the
    /// journal.
    Ext4,
    /// Power is cut by taking a copy of the image: what has not reached it yet is gone.
    Vfat,
}

/// An image with a file system, mounted.
pub struct Volume {
    system: System,
    scratch: Scratch,
    mounted: bool,
}

impl Volume {
    /// Makes and mounts a new one.
    pub fn new(system: System) -> Result<Volume, String> {
        let scratch = Scratch::in_memory("volume")?;
        let image = scratch.path("image");
        let file = File::create(&image).map_err(|e| e.to_string())?;
        file.set_len(48 << 20).map_err(|e| e.to_string())?;
        match system {
            System::Ext4 => must(Command::new("mkfs.ext4").args(["-q", "-F"]).arg(&image))?,
            System::Vfat => must(Command::new("mkfs.vfat").arg(&image))?,
        };
        std::fs::create_dir(scratch.path("mounted")).map_err(|e| e.to_string())?;
        let mut volume = Volume { system, scratch, mounted: false };
        volume.mount()?;
        Ok(volume)
    }

    /// Where it is mounted.
    pub fn top(&self) -> PathBuf {
        self.scratch.path("mounted")
    }

    /// Cuts the power: what is not on the medium at this moment never will be. The volume can be
    /// used no more until [`restore`](Self::restore).
    pub fn cut(&self) -> Result<(), String> {
        match self.system {
            System::Ext4 => shut_down(&self.top()),
            System::Vfat => copy(&self.scratch.path("image"), &self.scratch.path("cut")),
        }
    }

    /// What of a file in `folder` is on a FAT medium whose power was cut, before anybody mounts it
    /// again: the file of this short name (8 + 3 characters).
    pub fn as_cut(&self, folder: &str, name: &str) -> Result<Option<OnMedium>, String> {
        match self.system {
            System::Ext4 => Ok(None),
            System::Vfat => fat::look(&self.scratch.path("cut"), folder, name),
        }
    }

    /// Power is back: mounts what the cut left.
    pub fn restore(&mut self) -> Result<(), String> {
        self.unmount()?;
        if self.system == System::Vfat {
            let cut = self.scratch.path("cut");
            std::fs::rename(cut, self.scratch.path("image")).map_err(|e| e.to_string())?;
        }
        self.mount()
    }

    /// Gives `look` a place where everything on the volume can be read. On FAT that is a copy:
    /// reading a file whose end was cut off sets the volume itself read-only.
    pub fn read<T>(&self, look: impl FnOnce(&Path) -> Result<T, String>) -> Result<T, String> {
        match self.system {
            System::Ext4 => look(&self.top()),
            System::Vfat => self.read_copy(false, look),
        }
    }

    /// The same after the file system was checked and put in order, as users are told to do. The
    /// kernel has done so already where there is a journal.
    pub fn read_checked<T>(
        &self,
        look: impl FnOnce(&Path) -> Result<T, String>,
    ) -> Result<T, String> {
        match self.system {
            System::Ext4 => look(&self.top()),
            System::Vfat => self.read_copy(true, look),
        }
    }

    /// Checks the volume and puts it in order, as users are told to do before they record on it
    /// again.
    pub fn put_in_order(&mut self) -> Result<(), String> {
        if self.system == System::Ext4 {
            return Ok(());
        }
        self.unmount()?;
        check(&self.scratch.path("image"))?;
        self.mount()
    }

    fn read_copy<T>(
        &self,
        checked: bool,
        look: impl FnOnce(&Path) -> Result<T, String>,
    ) -> Result<T, String> {
        let (copied, at) = (self.scratch.path("copy"), self.scratch.path("look"));
        copy(&self.scratch.path("image"), &copied)?;
        if checked {
            check(&copied)?;
        }
        let _ = std::fs::create_dir(&at);
        must(Command::new("mount").args(["-t", "vfat", "-o", "loop,ro"]).arg(&copied).arg(&at))?;
        let looked = look(&at);
        unmount(&at)?;
        std::fs::remove_file(copied).map_err(|e| e.to_string())?;
        looked
    }

    fn mount(&mut self) -> Result<(), String> {
        let kind = match self.system {
            System::Ext4 => "ext4",
            System::Vfat => "vfat",
        };
        let mut command = Command::new("mount");
        let image = self.scratch.path("image");
        must(command.args(["-t", kind, "-o", "loop"]).arg(image).arg(self.top()))?;
        self.mounted = true;
        Ok(())
    }

    fn unmount(&mut self) -> Result<(), String> {
        if !std::mem::take(&mut self.mounted) {
            return Ok(());
        }
        unmount(&self.top())
    }
}

fn check(image: &Path) -> Result<(), String> {
    // Ends with 1 where something was put in order (fsck.fat(8)).
    let checked = Command::new("fsck.vfat").args(["-a", "-w"]).arg(image).output();
    let checked = checked.map_err(|e| format!("fsck.vfat: {e}"))?;
    match checked.status.code() {
        Some(0 | 1) => Ok(()),
        _ => Err(format!("fsck.vfat: {checked:?}")),
    }
}

fn unmount(at: &Path) -> Result<(), String> {
    // A process that another thread is just starting holds our files until it runs.
    let mut outcome = Ok(String::new());
    for _ in 0..200 {
        outcome = must(Command::new("umount").arg(at));
        if outcome.is_ok() {
            break;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    outcome.map(|_| ())
}

impl Drop for Volume {
    fn drop(&mut self) {
        if self.unmount().is_err() {
            let _ = Command::new("umount").arg("-l").arg(self.top()).status();
        }
    }
}

mod ioctl {
    nix::ioctl_readwrite_bad!(ext4_shutdown, 0x8004_587D, u32);
}

/// `EXT4_GOING_FLAGS_NOLOGFLUSH` of fs/ext4/ext4.h: not even the journal is flushed.
const WITHOUT_FLUSH: u32 = 2;

/// Ends all traffic between an ext4 file system and its medium, as a power cut does.
pub fn shut_down(top: &Path) -> Result<(), String> {
    let folder = File::open(top).map_err(|e| format!("{}: {e}", top.display()))?;
    let mut flags = WITHOUT_FLUSH;
    // SAFETY: the descriptor is open, and the kernel reads one u32 from the pointer.
    #[allow(unsafe_code)]
    let done = unsafe { ioctl::ext4_shutdown(folder.as_raw_fd(), &raw mut flags) };
    done.map(|_| ()).map_err(|e| format!("the power of {} cannot be cut: {e}", top.display()))
}

/// Copies what is written of a sparse file.
fn copy(from: &Path, to: &Path) -> Result<(), String> {
    use nix::unistd::{Whence, lseek};
    let copied = || -> std::io::Result<()> {
        let (mut from, mut to) = (File::open(from)?, File::create(to)?);
        to.set_len(from.metadata()?.len())?;
        let mut at = 0;
        while let Ok(begin) = lseek(&from, at, Whence::SeekData) {
            let end = lseek(&from, begin, Whence::SeekHole)?;
            let mut bytes = vec![0; (end - begin) as usize];
            from.seek(SeekFrom::Start(begin as u64))?;
            from.read_exact(&mut bytes)?;
            to.seek(SeekFrom::Start(begin as u64))?;
            to.write_all(&bytes)?;
            at = end;
        }
        Ok(())
    };
    copied().map_err(|e| format!("copying {}: {e}", from.display()))
}
