//! The shelf: a folder of the data directory for what is made to be taken away, such as packs. What lies there is made again
//! from the ledger whenever it is asked for, so no backup has it, and nothing is lost with it.

use std::fs;
use std::io;
use std::path::PathBuf;

use crate::data_dir::make_private_directory;
use crate::store::Store;

/// The name of the folder.
const FOLDER: &str = "made";

impl Store {
    /// The shelf, made where it is not there, and emptied of what an earlier run of the program left. Call it once, before
    /// anything is put there.
    ///
    /// # Errors
    ///
    /// Where the folder cannot be made or something in it not be removed.
    pub fn empty_shelf(&self) -> io::Result<PathBuf> {
        let shelf = self.shared().place.folder(FOLDER);
        make_private_directory(&shelf)?;
        for left in fs::read_dir(&shelf)? {
            let left = left?;
            if left.file_type()?.is_dir() {
                continue;
            }
            fs::remove_file(left.path())?;
        }
        Ok(shelf)
    }
}
