//! A clock that can be set while the program runs, by Debian's libfaketime: the machine's own stays as it is.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The clock of one or more programs, as long as it is there.
pub struct SettableClock {
    library: PathBuf,
    file: tempfile::NamedTempFile,
}

impl SettableClock {
    /// A clock that is right. None, with a word about it, where libfaketime is not installed.
    pub fn or_say_why_not() -> Option<Self> {
        let Some(library) = library() else {
            eprintln!("libfaketime is not installed: nothing was tried");
            return None;
        };
        let file = tempfile::NamedTempFile::new().expect("a temporary file can be made");
        let clock = Self { library, file };
        clock.set("+0s");
        Some(clock)
    }

    /// Sets it so far from the right time, such as "+3d" or "-2h", from now on.
    pub fn set(&self, from_right: &str) {
        // In one piece: the program may look at any moment.
        let beside = self.file.path().with_extension("new");
        std::fs::write(&beside, from_right).expect("the clock can be set");
        std::fs::rename(&beside, self.file.path()).expect("the clock can be set");
    }

    /// Lets a program look at this clock. How long something takes is told by another one, which goes on as it does.
    pub fn of<'c>(&self, program: &'c mut Command) -> &'c mut Command {
        program
            .env("LD_PRELOAD", &self.library)
            .env("FAKETIME_TIMESTAMP_FILE", self.file.path())
            .env("FAKETIME_NO_CACHE", "1")
            .env("FAKETIME_DONT_FAKE_MONOTONIC", "1")
    }
}

fn library() -> Option<PathBuf> {
    let machines = std::fs::read_dir("/usr/lib").ok()?;
    let mut found = machines.filter_map(|entry| {
        let path = entry.ok()?.path().join("faketime").join("libfaketimeMT.so.1");
        Path::exists(&path).then_some(path)
    });
    found.next()
}
