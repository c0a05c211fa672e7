//! What a data folder has seen: a file beside the database that says how far each ledger had come, so that an older copy of
//! the database in its place is known for what it is.
//!
//! Lines are added after each transaction and never before it, so that the file may lag behind and is never ahead. A line
//! that was cut off by a power cut is as if it had not been written.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use parking_lot::Mutex;
use programme::state::State;

use crate::data_dir::{private_file, sync_directory};
use crate::published::Head;
use crate::sql::hex;

/// The name of the file in a data folder.
const FILE: &str = "rungbook.fence";

/// The secret by which database and file know that they belong together.
pub(crate) const PLACE: &str = "place";

/// What the file begins with.
const FIRST_LINE: &str = "rungbook fence 1";

/// Beyond this size the file is written anew with what still matters.
const LARGEST: u64 = 4 << 20;

/// A ledger that goes on from a copy that nobody has acknowledged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CopyFound {
    /// How far the copy goes.
    pub head: Head,
    /// How many records there are known to have been; none: not known.
    pub known: Option<u64>,
}

impl CopyFound {
    /// Whether test lead and safety officer have both acknowledged it.
    pub(crate) fn is_acknowledged_in(&self, state: &State) -> bool {
        state.keeping.is_acknowledged(self.head.size, self.head.root)
    }
}

/// What the file says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Marks {
    /// Of which database.
    pub place: String,
    /// How far each ledger had come.
    pub heads: BTreeMap<String, Head>,
    /// Copies that nobody has acknowledged.
    pub copies: BTreeMap<String, CopyFound>,
}

/// Where the file of a data folder is.
pub(crate) fn file_in(data_dir: &Path) -> PathBuf {
    data_dir.join(FILE)
}

impl Marks {
    /// What the file of a data folder says; none where there is none.
    pub fn read(data_dir: &Path) -> io::Result<Option<Self>> {
        let bytes = match fs::read(file_in(data_dir)) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error),
        };
        let text = String::from_utf8_lossy(&bytes);
        let mut marks = Self::default();
        // What has no line break at its end was cut off.
        for line in text.split_inclusive('\n').filter_map(|line| line.strip_suffix('\n')) {
            marks.take(line);
        }
        Ok(Some(marks))
    }

    fn take(&mut self, line: &str) -> Option<()> {
        let parts: Vec<&str> = line.split(' ').collect();
        match parts.as_slice() {
            ["place", place] => (*place).clone_into(&mut self.place),
            ["head", programme, size, root] => {
                self.heads.insert((*programme).to_owned(), head(size, root)?);
                self.copies.remove(*programme);
            }
            ["copy", programme, size, root, known] => {
                let found = CopyFound { head: head(size, root)?, known: known.parse().ok() };
                self.copies.insert((*programme).to_owned(), found);
            }
            _ => {}
        }
        Some(())
    }

    /// Writes the whole file. Once this has succeeded it is on disk.
    pub fn write(&self, data_dir: &Path) -> io::Result<()> {
        let mut text = format!("{FIRST_LINE}\nplace {}\n", self.place);
        self.heads.iter().for_each(|(programme, head)| text.push_str(&head_line(programme, *head)));
        for (programme, CopyFound { head: Head { size, root }, known }) in &self.copies {
            let known = known.map_or_else(|| "-".to_owned(), |known| known.to_string());
            // Writing to a text cannot fail.
            let _ = writeln!(text, "copy {programme} {size} {root} {known}");
        }
        let part = data_dir.join(format!("{FILE}.part"));
        let mut file = private_file(&part)?;
        file.set_len(0)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        fs::rename(&part, file_in(data_dir))?;
        sync_directory(data_dir)
    }
}

fn head(size: &str, root: &str) -> Option<Head> {
    Some(Head { size: size.parse().ok()?, root: root.parse().ok()? })
}

fn head_line(programme: &str, Head { size, root }: Head) -> String {
    format!("head {programme} {size} {root}\n")
}

/// The secret as the file names it.
pub(crate) fn place_of(secret: &[u8]) -> String {
    hex(secret)
}

/// The file of an open data folder.
#[derive(Debug)]
pub(crate) struct Fence {
    data_dir: PathBuf,
    kept: Mutex<(Marks, Option<File>)>,
}

impl Fence {
    /// Writes the file and keeps it open.
    pub fn open(data_dir: &Path, marks: Marks) -> io::Result<Self> {
        marks.write(data_dir)?;
        let file = appended(data_dir)?;
        Ok(Self { data_dir: data_dir.to_owned(), kept: Mutex::new((marks, Some(file))) })
    }

    /// Notes how far a ledger has come. A file that cannot be written is told of in the log, and is no reason to refuse what
    /// is on disk already.
    pub fn note(&self, programme: &str, head: Head) {
        let mut kept = self.kept.lock();
        let (marks, file) = &mut *kept;
        marks.heads.insert(programme.to_owned(), head);
        marks.copies.remove(programme);
        if let Err(error) = self.append(marks, file, &head_line(programme, head)) {
            tracing::warn!(
                error = &error as &dyn std::error::Error,
                "{FILE} cannot be written: an older copy of the ledger might not be known for one"
            );
        }
    }

    /// Notes that a ledger goes on from a copy. Once this has succeeded it is on disk.
    pub fn note_copy(&self, programme: &str, found: CopyFound) -> io::Result<()> {
        let mut kept = self.kept.lock();
        let (marks, file) = &mut *kept;
        marks.heads.remove(programme);
        marks.copies.insert(programme.to_owned(), found);
        *file = None;
        marks.write(&self.data_dir)?;
        *file = Some(appended(&self.data_dir)?);
        Ok(())
    }

    fn append(&self, marks: &Marks, file: &mut Option<File>, line: &str) -> io::Result<()> {
        if let Some(file) = file
            && file.metadata()?.len() < LARGEST
        {
            return file.write_all(line.as_bytes());
        }
        *file = None;
        marks.write(&self.data_dir)?;
        *file = Some(appended(&self.data_dir)?);
        Ok(())
    }
}

fn appended(data_dir: &Path) -> io::Result<File> {
    OpenOptions::new().append(true).open(file_in(data_dir))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use programme::ledger::leaf_hash;

    #[test]
    fn a_line_that_was_cut_off_is_as_if_it_had_not_been_written_and_the_last_whole_one_counts() {
        let folder = tempfile::tempdir().unwrap();
        let at = |size| Head { size, root: leaf_hash(b"root") };
        let mut marks = Marks { place: "ab".to_owned(), ..Marks::default() };
        let found = CopyFound { head: at(3), known: Some(9) };
        marks.copies.insert("tug".to_owned(), found);
        let fence = Fence::open(folder.path(), marks.clone()).unwrap();
        assert_eq!(Marks::read(folder.path()).unwrap(), Some(marks));

        fence.note("tug", at(4));
        fence.note("tug", at(5));
        let file = file_in(folder.path());
        let text = fs::read_to_string(&file).unwrap();
        fs::write(&file, format!("{text}head tug 6 abc")).unwrap();

        let read = Marks::read(folder.path()).unwrap().unwrap();
        assert_eq!((read.heads["tug"], read.copies.len()), (at(5), 0));
    }
}
