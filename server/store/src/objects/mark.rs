//! A file in the data directory that says in which bucket the recordings are, so that nobody goes on without them by mistake.

use std::fs;
use std::io::{self, Write as _};
use std::path::Path;

use super::{BucketUrl, INCOMING, ObjectError, folder_in};
use crate::data_dir::{private_file, sync_directory};

/// Its name.
const MARK: &str = "rungbook.recordings";

/// Refuses a place that is not where the recordings are known to be.
pub(super) fn check(data_dir: &Path, named: Option<&BucketUrl>) -> Result<(), ObjectError> {
    let path = data_dir.join(MARK);
    match (fs::read_to_string(&path), named) {
        (Ok(found), named) => {
            let kept_in = found.trim().to_owned();
            let named = named.map_or_else(|| "the data folder".to_owned(), BucketUrl::to_string);
            if kept_in == named {
                return Ok(());
            }
            Err(ObjectError::Elsewhere { kept_in, named, path })
        }
        (Err(error), Some(named)) if error.kind() == io::ErrorKind::NotFound => {
            let folder = folder_in(data_dir);
            match has_files(&folder) {
                true => Err(ObjectError::InTheFolder { path: folder, named: named.clone() }),
                false => Ok(()),
            }
        }
        (Err(error), None) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        (Err(error), _) => Err(error.into()),
    }
}

/// Says in which bucket they are, on disk.
pub(super) fn set(data_dir: &Path, bucket: &BucketUrl) -> io::Result<()> {
    let path = data_dir.join(MARK);
    if path.exists() {
        return Ok(());
    }
    let mut file = private_file(&path)?;
    writeln!(file, "{bucket}")?;
    file.sync_all()?;
    sync_directory(data_dir)
}

/// Whether a folder of recordings has any.
fn has_files(folder: &Path) -> bool {
    let groups = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut groups = groups.filter(|group| group.file_name() != INCOMING);
    groups.any(|group| fs::read_dir(group.path()).is_ok_and(|mut files| files.next().is_some()))
}
