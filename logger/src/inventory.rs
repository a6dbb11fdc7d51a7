//! Which serial ports this computer has, who may open them, and the cure when you may not.

use crate::names::link_to;
use crate::port::OpenError;
use crate::text::printable;
use nix::unistd::{AccessFlags, Gid, Group, Uid, User, access};
use std::fmt::Write;
use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};

/// The usual group of serial ports, named where a port has no group of its own.
const USUAL_GROUP: &str = "dialout";
/// How device names begin that are serial ports by their driver; used where the system has no
/// device table.
const SERIAL_NAMES: [&str; 4] = ["ttyUSB", "ttyACM", "ttyAMA", "ttymxc"];

/// One serial port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The device.
    pub device: PathBuf,
    /// What it is: stable as long as the device is the same.
    pub by_id: Option<PathBuf>,
    /// Which socket it is in: stable as long as it stays there.
    pub by_path: Option<PathBuf>,
    /// What the USB device says of itself.
    pub usb: Option<Usb>,
    /// Who may open it.
    pub access: Access,
}

/// What a USB device says of itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Usb {
    /// Vendor number, four hexadecimal digits.
    pub vendor: String,
    /// Product number, four hexadecimal digits.
    pub product: String,
    /// Maker, product and serial number as texts, as far as the device has them.
    pub texts: Vec<String>,
}

/// Who may open a device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Access {
    /// The user who owns it.
    pub owner: String,
    /// Its group.
    pub group: String,
    /// Whether members of the group may read and write.
    pub group_may: bool,
    /// Whether you may.
    pub you_may: bool,
}

/// All serial ports of the system whose file tree begins at `root` (`/`, or a test's own tree).
/// Pseudo-terminals and ports without hardware are left out.
pub fn list(root: &Path) -> Vec<Found> {
    let mut names = device_table(&root.join("sys/class/tty"))
        .unwrap_or_else(|| names_in(&root.join("dev"), is_serial_name));
    names.sort();
    names.iter().filter_map(|name| look_at(root, name)).collect()
}

fn is_serial_name(name: &str) -> bool {
    SERIAL_NAMES.iter().any(|begin| name.starts_with(begin))
}

/// The names in the kernel's table that have hardware behind them; `None` if there is no table.
fn device_table(table: &Path) -> Option<Vec<String>> {
    fs::read_dir(table).ok()?;
    Some(names_in(table, |name| {
        let entry = table.join(name);
        // Type 0 is a place for a port that no chip was found for.
        let is_phantom = read_word(&entry.join("type")).is_some_and(|kind| kind == "0");
        entry.join("device").exists() && !is_phantom
    }))
}

fn names_in(dir: &Path, wanted: impl Fn(&str) -> bool) -> Vec<String> {
    let entries = fs::read_dir(dir).into_iter().flatten().flatten();
    entries.filter_map(|e| e.file_name().into_string().ok()).filter(|name| wanted(name)).collect()
}

fn look_at(root: &Path, name: &str) -> Option<Found> {
    let device = root.join("dev").join(name);
    let links = root.join("dev/serial");
    let target = fs::canonicalize(&device).ok()?;
    Some(Found {
        by_id: link_to(&target, &links.join("by-id")),
        by_path: link_to(&target, &links.join("by-path")),
        usb: usb_of(&root.join("sys/class/tty").join(name)),
        access: Access::of(&device)?,
        device,
    })
}

/// Climbs from the port to the USB device that carries it.
fn usb_of(entry: &Path) -> Option<Usb> {
    let place = fs::canonicalize(entry.join("device")).ok()?;
    let device = place.ancestors().find(|dir| dir.join("idVendor").exists())?;
    let word = |name: &str| read_word(&device.join(name));
    let texts = ["manufacturer", "product", "serial"].into_iter().filter_map(word).collect();
    Some(Usb { vendor: word("idVendor")?, product: word("idProduct")?, texts })
}

fn read_word(path: &Path) -> Option<String> {
    Some(fs::read_to_string(path).ok()?.trim().to_owned())
}

impl Access {
    fn of(device: &Path) -> Option<Access> {
        let meta = fs::metadata(device).ok()?;
        let owner = User::from_uid(Uid::from_raw(meta.uid())).ok().flatten();
        let group = Group::from_gid(Gid::from_raw(meta.gid())).ok().flatten();
        Some(Access {
            owner: owner.map_or(meta.uid().to_string(), |user| user.name),
            group: group.map_or(meta.gid().to_string(), |group| group.name),
            group_may: meta.mode() & 0o060 == 0o060,
            // Asked, not tried: opening a port moves its control lines, and that resets boards.
            you_may: access(device, AccessFlags::R_OK | AccessFlags::W_OK).is_ok(),
        })
    }

    /// What to do so that you may open `device`.
    pub fn cure(&self, device: &Path) -> String {
        let (group, owner, path) = (&self.group, &self.owner, device.display());
        if self.group_may {
            format!(
                "{path} is open to the group {group} and you are not in it. Type\n    \
                 sudo usermod -aG {group} $USER\nthen log out and in again"
            )
        } else {
            format!(
                "{path} is open to {owner} alone. Type\n    \
                 sudo chgrp {USUAL_GROUP} {path} && sudo chmod g+rw {path}\n    \
                 sudo usermod -aG {USUAL_GROUP} $USER\nthen log out and in again; to make it \
                 last, give the device to the group {USUAL_GROUP} in a udev rule"
            )
        }
    }
}

/// What to do about a port that could not be opened.
pub fn cure(error: &OpenError) -> String {
    match error {
        OpenError::Denied(path) => Access::of(path)
            .map_or_else(|| "a folder on the way to it is closed to you".into(), |a| a.cure(path)),
        OpenError::Busy(path) => busy_cure(path),
        OpenError::NotAPort(_) => "choose a serial port: `ports` lists what is there".into(),
        OpenError::NotABus(_) => {
            "choose a CAN interface such as can0: `ports` lists what is there".into()
        }
        OpenError::NoCan(_) => NO_CAN.into(),
        OpenError::Down(path) => format!("type\n    sudo ip link set {} up", path.display()),
        OpenError::Absent(_) => "plug it in: it is picked up when it appears".into(),
        OpenError::Failed { .. } => "unplug the device and plug it in again".into(),
    }
}

/// What to do on a system without CAN.
const NO_CAN: &str = "on Linux, type\n    sudo modprobe can-raw\nelsewhere, use an adapter on a \
serial line (kind serial-can)";

fn busy_cure(path: &Path) -> String {
    let holders = holders(path);
    if holders.is_empty() {
        return format!(
            "end the program that has it open; `sudo fuser {}` names it",
            path.display()
        );
    }
    let list: Vec<_> =
        holders.iter().map(|(id, name)| format!("process {id} ({})", printable(name))).collect();
    format!("it is held by {}: end that first", list.join(", "))
}

/// The processes that have a device open, as far as you may see them: number and name.
pub fn holders(path: &Path) -> Vec<(u32, String)> {
    let Ok(device) = fs::canonicalize(path) else { return Vec::new() };
    let processes = names_in(Path::new("/proc"), |name| name.bytes().all(|b| b.is_ascii_digit()));
    let has_open = |id: &String| {
        let files = fs::read_dir(format!("/proc/{id}/fd")).into_iter().flatten().flatten();
        files.into_iter().any(|file| fs::read_link(file.path()).is_ok_and(|end| end == device))
    };
    let numbered = processes.into_iter().filter(has_open);
    numbered.filter_map(|id| Some((id.parse().ok()?, process_name(&id)))).collect()
}

/// The file name of the program that a process runs, as it was called.
fn process_name(id: &str) -> String {
    let called = fs::read(format!("/proc/{id}/cmdline")).unwrap_or_default();
    let program = called.split(|byte| *byte == 0).next().unwrap_or_default();
    let program = String::from_utf8_lossy(program).into_owned();
    Path::new(&program).file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// The list as text for a terminal.
pub fn describe(ports: &[Found]) -> String {
    let mut out = String::new();
    for port in ports {
        // Writing to a String cannot fail.
        let _ = describe_one(&mut out, port);
    }
    out.push_str(if ports.is_empty() { NOTHING_FOUND } else { NOTES });
    out
}

fn describe_one(out: &mut String, port: &Found) -> std::fmt::Result {
    let shown = |path: &Path| printable(&path.to_string_lossy());
    let stable = port.by_id.as_ref().or(port.by_path.as_ref());
    writeln!(out, "{}", shown(stable.unwrap_or(&port.device)))?;
    writeln!(out, "    device  {}", shown(&port.device))?;
    if let Some(socket) = port.by_path.as_ref().filter(|_| port.by_id.is_some()) {
        writeln!(out, "    socket  {}", shown(socket))?;
    }
    if stable.is_none() {
        writeln!(out, "    name    not stable: it may change when devices are plugged in")?;
    }
    if let Some(usb) = &port.usb {
        let texts = printable(&usb.texts.join(", "));
        writeln!(
            out,
            "    usb     {}:{}  {texts}",
            printable(&usb.vendor),
            printable(&usb.product)
        )?;
    }
    let access = &port.access;
    let whose = if access.group_may { &access.group } else { &access.owner };
    if access.you_may {
        writeln!(out, "    access  you may open it (it belongs to {whose})")?;
    } else {
        let cure = access.cure(&port.device).replace('\n', "\n            ");
        writeln!(out, "    access  you may not open it: {cure}")?;
    }
    for (id, name) in holders(&port.device) {
        writeln!(out, "    in use  by process {id} ({})", printable(&name))?;
    }
    Ok(())
}

const NOTHING_FOUND: &str = "No serial port is there. Plug one in and ask again; \
pseudo-terminals are never listed, but can be recorded from by their name.\n";

const NOTES: &str = "
Give `record` the first line of an entry: a name under by-id stays the same when
the device is plugged in again.
A service that looks for modems may hold a new port for about ten seconds and
write to it; a udev rule with ENV{ID_MM_DEVICE_IGNORE}=\"1\" for the device keeps it
away. A service for braille displays takes some adapters for a display: remove
it if a port vanishes right after it appeared.
";

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    struct Tree(PathBuf);

    impl Tree {
        fn new(name: &str) -> Self {
            let dir = std::env::temp_dir().join(format!("inventory-{name}-{}", std::process::id()));
            let _ = fs::remove_dir_all(&dir);
            fs::create_dir_all(dir.join("dev/serial/by-id")).unwrap();
            Tree(fs::canonicalize(dir).unwrap())
        }
        fn file(&self, path: &str, text: &str) -> &Self {
            let path = self.0.join(path);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
            self
        }
        fn link(&self, link: &str, target: &str) -> &Self {
            let link = self.0.join(link);
            fs::create_dir_all(link.parent().unwrap()).unwrap();
            symlink(self.0.join(target), link).unwrap();
            self
        }
    }

    impl Drop for Tree {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn adapter(tree: &Tree) {
        tree.file("sys/devices/usb1/1-2/idVendor", "1209\n")
            .file("sys/devices/usb1/1-2/idProduct", "0001\n")
            .file("sys/devices/usb1/1-2/serial", "17\u{1b}[2J\n")
            .file("sys/devices/usb1/1-2/1-2:1.0/ttyUSB0/port_number", "0\n")
            .link("sys/class/tty/ttyUSB0/device", "sys/devices/usb1/1-2/1-2:1.0/ttyUSB0")
            .file("dev/ttyUSB0", "")
            .link("dev/serial/by-id/board-17", "dev/ttyUSB0");
    }

    #[test]
    fn a_usb_adapter_is_listed_with_its_stable_name_and_numbers() {
        let tree = Tree::new("usb");
        adapter(&tree);
        let found = list(&tree.0);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].by_id, Some(tree.0.join("dev/serial/by-id/board-17")));
        let usb = found[0].usb.clone().unwrap();
        assert_eq!((usb.vendor.as_str(), usb.product.as_str()), ("1209", "0001"));
        let text = describe(&found);
        assert!(text.contains("by-id/board-17\n") && text.contains("1209:0001"), "{text}");
        assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
    }

    #[test]
    fn consoles_and_ports_without_hardware_are_left_out() {
        let tree = Tree::new("phantom");
        adapter(&tree);
        tree.file("sys/class/tty/tty1/dev", "4:1").file("dev/tty1", "");
        tree.file("sys/devices/platform/serial8250/x", "")
            .link("sys/class/tty/ttyS3/device", "sys/devices/platform/serial8250")
            .file("sys/class/tty/ttyS3/type", "0\n")
            .file("dev/ttyS3", "");
        assert_eq!(list(&tree.0).len(), 1);
    }

    #[test]
    fn without_a_device_table_the_names_alone_are_listed() {
        let tree = Tree::new("table");
        tree.file("dev/ttyACM0", "").file("dev/null", "");
        let found = list(&tree.0);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].device, tree.0.join("dev/ttyACM0"));
        assert!(list(Path::new("/nowhere/at/all")).is_empty());
    }

    #[test]
    fn the_cure_names_path_group_and_command() {
        let mut access = Access {
            owner: "root".into(),
            group: "dialout".into(),
            group_may: true,
            you_may: false,
        };
        let cure = access.cure(Path::new("/dev/ttyUSB0"));
        assert!(cure.contains("/dev/ttyUSB0") && cure.contains("usermod -aG dialout"), "{cure}");
        access.group_may = false;
        let cure = access.cure(Path::new("/dev/ttyUSB0"));
        assert!(cure.contains("chmod g+rw /dev/ttyUSB0") && cure.contains("log out"), "{cure}");
    }

    #[test]
    fn the_holder_of_a_device_is_found() {
        let path = std::env::temp_dir().join(format!("held-{}", std::process::id()));
        let _held = fs::File::create(&path).unwrap();
        let ids: Vec<_> = holders(&path).into_iter().map(|(id, _)| id).collect();
        fs::remove_file(&path).unwrap();
        assert_eq!(ids, [std::process::id()]);
    }
}
