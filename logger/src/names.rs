//! Stable names: how a device is found again after it was unplugged, whatever it is called then.
//!
//! The kernel hands out `ttyUSB0`, `ttyUSB1`, ... in the order of appearance. The device manager
//! keeps two sets of links that survive this: `by-id` (what the device is) and `by-path` (which
//! socket it sits in). A seat remembers both for the device that was first found in it.

use std::path::{Path, PathBuf};

/// Where the device manager keeps its links on a usual system.
pub const SERIAL_LINKS: &str = "/dev/serial";

/// One source's place: the name the user gave, and the stable names learned since.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Seat {
    /// The name as the user wrote it.
    pub given: PathBuf,
    /// What the device is, once it has been seen.
    pub by_id: Option<PathBuf>,
    /// Which socket it was in.
    pub by_path: Option<PathBuf>,
}

impl Seat {
    /// A seat of which only the given name is known.
    pub fn new(given: impl Into<PathBuf>) -> Self {
        Seat { given: given.into(), by_id: None, by_path: None }
    }

    /// The names to try, best first.
    ///
    /// A name that the user chose as a link is the user's word and stays the only one. Once the
    /// device's own identity is known, a plain name no longer counts: another device may have
    /// taken it. A socket or a plain name counts only while nothing with a name of its own is
    /// there.
    pub fn candidates(&self, links: &Path) -> Vec<PathBuf> {
        let anonymous = |place: &&PathBuf| {
            std::fs::canonicalize(place)
                .is_ok_and(|device| link_to(&device, &links.join("by-id")).is_none())
        };
        let socket = self.by_path.iter().filter(anonymous).cloned();
        match (&self.by_id, &self.by_path) {
            (Some(by_id), _) => std::iter::once(by_id.clone()).chain(socket).collect(),
            (None, Some(_)) => {
                socket.chain(Some(&self.given).into_iter().filter(anonymous).cloned()).collect()
            }
            (None, None) => vec![self.given.clone()],
        }
    }

    /// Learns the stable names of the device that answered, unless the given name is stable itself.
    pub fn learn(&mut self, device: &Path, links: &Path) {
        if is_link(&self.given) {
            return;
        }
        if let Some(name) = link_to(device, &links.join("by-id")) {
            self.by_id = Some(name);
        }
        if let Some(name) = link_to(device, &links.join("by-path")) {
            self.by_path = Some(name);
        }
    }
}

fn is_link(path: &Path) -> bool {
    path.symlink_metadata().is_ok_and(|meta| meta.is_symlink())
        || path.parent().is_some_and(|dir| dir.ends_with("by-id") || dir.ends_with("by-path"))
}

/// The link in `dir` that leads to `device`, if there is one (the first by name if several).
pub fn link_to(device: &Path, dir: &Path) -> Option<PathBuf> {
    let mut links: Vec<_> =
        std::fs::read_dir(dir).ok()?.flatten().map(|entry| entry.path()).collect();
    links.sort();
    links.into_iter().find(|link| std::fs::canonicalize(link).is_ok_and(|end| end == device))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    /// A device folder with two devices and the links a device manager would make.
    struct Bench(PathBuf);

    impl Bench {
        fn new(name: &str) -> Self {
            let dir = std::env::temp_dir().join(format!("names-{name}-{}", std::process::id()));
            let _ = std::fs::remove_dir_all(&dir);
            for sub in ["serial/by-id", "serial/by-path"] {
                std::fs::create_dir_all(dir.join(sub)).unwrap();
            }
            Bench(std::fs::canonicalize(dir).unwrap())
        }
        fn device(&self, name: &str) -> PathBuf {
            std::fs::write(self.0.join(name), "").unwrap();
            self.0.join(name)
        }
        fn links(&self) -> PathBuf {
            self.0.join("serial")
        }
        fn link(&self, link: &str, device: &Path) -> PathBuf {
            let link = self.links().join(link);
            let _ = std::fs::remove_file(&link);
            symlink(device, &link).unwrap();
            link
        }
    }

    impl Drop for Bench {
        fn drop(&mut self) {
            let _ = std::fs::remove_dir_all(&self.0);
        }
    }

    #[test]
    fn a_device_is_found_under_its_own_name_after_the_kernel_renamed_it() {
        let bench = Bench::new("renamed");
        let first = bench.device("ttyUSB0");
        let id = bench.link("by-id/board-17", &first);
        let mut seat = Seat::new(&first);
        seat.learn(&first, &bench.links());
        let second = bench.device("ttyUSB1");
        bench.link("by-id/board-17", &second);
        assert_eq!(seat.candidates(&bench.links()), [id]);
    }

    #[test]
    fn a_stranger_in_the_old_socket_is_not_taken_for_the_device() {
        let bench = Bench::new("stranger");
        let first = bench.device("ttyUSB0");
        let id = bench.link("by-id/board-17", &first);
        let socket = bench.link("by-path/socket-3", &first);
        let mut seat = Seat::new(&first);
        seat.learn(&first, &bench.links());
        std::fs::remove_file(&id).unwrap();
        assert_eq!(
            seat.candidates(&bench.links()),
            [id.clone(), socket],
            "nameless: the socket counts"
        );
        bench.link("by-id/stranger", &first);
        assert_eq!(seat.candidates(&bench.links()), [id], "another name: not ours");
    }

    #[test]
    fn a_device_without_identity_is_found_by_its_socket() {
        let bench = Bench::new("socket");
        let first = bench.device("ttyUSB0");
        let socket = bench.link("by-path/socket-3", &first);
        let mut seat = Seat::new(&first);
        seat.learn(&first, &bench.links());
        assert_eq!(seat.candidates(&bench.links()), [socket, first]);
    }

    #[test]
    fn a_link_given_by_the_user_is_the_only_name() {
        let bench = Bench::new("given");
        let first = bench.device("ttyUSB0");
        bench.link("by-path/socket-3", &first);
        let id = bench.link("by-id/board-17", &first);
        let mut seat = Seat::new(&id);
        seat.learn(&first, &bench.links());
        assert_eq!(seat.candidates(&bench.links()), [id]);
    }
}
