//! The demonstration's folder, made once and copied for each test that wants one: playing its past takes many seconds.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use super::server::{PROGRAM, Server};

/// What is told of the present, such as the age of an observation, is not true for long.
const GOOD_FOR: Duration = Duration::from_mins(10);

/// Makes a folder of data in which the demonstration is.
pub fn copied_into(data: &Path) {
    let place = Path::new(env!("CARGO_TARGET_TMPDIR"));
    fs::create_dir_all(place).expect("the folder of the tests can be made");
    // Each test is a process of its own: one makes it, the others wait.
    let lock = File::create(place.join("demonstration.lock")).expect("a lock can be made");
    lock.lock().expect("the lock can be taken");
    let made = place.join("demonstration");
    if !is_good(&made) {
        make(&made);
    }
    copy(&made.join("data"), data).expect("the demonstration can be copied");
}

/// The file that is written last, and tells by which program.
fn marker(made: &Path) -> PathBuf {
    made.join("made-by")
}

fn program() -> String {
    let built = fs::metadata(PROGRAM).and_then(|of| of.modified()).expect("the program is there");
    format!("{built:?}")
}

fn is_good(made: &Path) -> bool {
    let marker = marker(made);
    let age = fs::metadata(&marker).and_then(|of| of.modified()).ok();
    let age = age.and_then(|at| SystemTime::now().duration_since(at).ok());
    age.is_some_and(|age| age < GOOD_FOR)
        && fs::read_to_string(marker).is_ok_and(|by| by == program())
}

fn make(made: &Path) {
    if made.exists() {
        fs::remove_dir_all(made).expect("the one before can be removed");
    }
    fs::create_dir_all(made).expect("its folder can be made");
    // Once it answers, everything is on disk.
    Server::demonstration_in(&made.join("data")).kill();
    fs::write(marker(made), program()).expect("the marker can be written");
}

fn copy(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}
