//! A folder of a test's own.

use std::path::PathBuf;

/// Removed with all that is in it when it is dropped.
pub struct Folder(PathBuf);

impl Folder {
    /// A new one with this in its name.
    pub fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("wheelwitness-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Folder(path)
    }

    /// The path of a file in it.
    pub fn path(&self, name: &str) -> String {
        self.0.join(name).display().to_string()
    }

    /// Writes a file into it.
    pub fn write(&self, name: &str, bytes: &[u8]) -> String {
        std::fs::write(self.path(name), bytes).unwrap();
        self.path(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}
