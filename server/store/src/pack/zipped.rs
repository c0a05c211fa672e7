//! A pack as it comes from somebody: a file that may have been made to harm whoever opens it. Nothing is ever unpacked to a
//! place that it names, and no more is kept in memory than a line or a few names.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek as _};
use std::path::{Path, PathBuf};

use programme::record::Digest;
use zip::read::{ArchiveOffset, Config};
use zip::{CompressionMethod, ZipArchive};

use super::check::PackFault;
use super::contents::{Named, OWN, SUMS, named};
use super::lines::Lines;
use crate::files::pass_on_counted;

/// More parts than this are none of a pack.
const MOST_PARTS: usize = 200_000;

/// Text becomes smaller by packing, and never so much smaller: what unfolds further was made to fill a disk or a day.
const MOST_UNFOLDED: u64 = 250;

/// Below this nothing is too much.
const SMALL: u64 = 1 << 20;

/// A part of a text is read into memory only up to this.
const LARGEST_TEXT: u64 = 4 << 20;

/// A file that has the form of a pack.
pub(super) struct Zipped {
    path: PathBuf,
    archive: ZipArchive<BufReader<File>>,
}

/// What every part was held against.
pub(super) struct Summed {
    /// The files that records speak of.
    pub files: BTreeMap<Digest, u64>,
    /// How many keys there are.
    pub keys: usize,
    /// Other files.
    pub besides: Vec<String>,
}

impl Zipped {
    /// Opens it, and looks at what it says of its parts before any of them is read.
    pub fn open(path: &Path) -> Result<Self, PackFault> {
        let mut pack = Self { path: path.to_owned(), archive: archive(path)? };
        if pack.archive.len() > MOST_PARTS {
            return Err(PackFault::TooMany { most: MOST_PARTS });
        }
        if pack.archive.has_duplicate_names() {
            return Err(PackFault::Twice);
        }
        if !pack.archive.comment().is_empty() {
            return Err(PackFault::Hidden);
        }
        for place in 0..pack.archive.len() {
            let part = pack.archive.by_index_raw(place).map_err(PackFault::of_zip)?;
            let name = String::from_utf8_lossy(part.name_raw()).into_owned();
            let plain = part.is_file() && !part.is_symlink() && !part.encrypted();
            let method = part.compression();
            let known =
                method == CompressionMethod::Stored || method == CompressionMethod::Deflated;
            if named(&name).is_none() || !plain || !known {
                return Err(PackFault::Name { name: printable(&name) });
            }
            let (packed, unfolded) = (part.compressed_size(), part.size());
            if unfolded > SMALL.max(packed.saturating_mul(MOST_UNFOLDED)) {
                return Err(PackFault::Unfolds { name });
            }
        }
        pack.archive.validate_header_consistency().map_err(|_| PackFault::Hidden)?;
        for own in OWN {
            if pack.archive.index_for_name(own).is_none() {
                return Err(PackFault::Missing { name: own.to_owned() });
            }
        }
        Ok(pack)
    }

    /// Reads every part, and holds it against the sum that is given for it.
    pub fn sum(&mut self) -> Result<Summed, PackFault> {
        let mut sums = self.sums()?;
        let mut summed = Summed { files: BTreeMap::new(), keys: 0, besides: Vec::new() };
        for place in 0..self.archive.len() {
            let mut part = self.archive.by_index(place).map_err(PackFault::of_zip)?;
            let name = part.name().map_err(PackFault::of_zip)?.into_owned();
            let (bytes, computed) = pass_on_counted(&mut part, &mut io::sink())
                .map_err(|source| PackFault::Part { name: name.clone(), source })?;
            if bytes != part.size() {
                return Err(PackFault::Size { name });
            }
            if name != SUMS && sums.remove(&name).as_ref() != Some(&computed) {
                return Err(PackFault::Sum { name });
            }
            match named(&name) {
                Some(Named::File(digest)) if digest == computed => {
                    summed.files.insert(digest, bytes);
                }
                Some(Named::File(_)) | None => return Err(PackFault::Sum { name }),
                Some(Named::Key(_)) => summed.keys += 1,
                Some(Named::Besides) => summed.besides.push(name),
                Some(Named::Own | Named::Schema) => {}
            }
        }
        match sums.into_keys().next() {
            Some(name) => Err(PackFault::Missing { name: printable(&name) }),
            None => Ok(summed),
        }
    }

    fn sums(&mut self) -> Result<BTreeMap<String, Digest>, PackFault> {
        let mut sums = BTreeMap::new();
        let most = self.archive.len();
        let mut lines = Lines::of(SUMS, BufReader::new(self.part(SUMS)?));
        while let Some(line) = lines.next()? {
            let read = line.split_once("  ").and_then(|(digest, name)| {
                Some((name.to_owned(), Digest::try_from(digest.to_owned()).ok()?))
            });
            let Some((name, digest)) = read else { return Err(lines.wrong()) };
            if sums.len() >= most || sums.insert(name, digest).is_some() {
                return Err(lines.wrong());
            }
        }
        Ok(sums)
    }

    /// A part, to be read.
    pub fn part(&mut self, name: &str) -> Result<impl Read + '_, PackFault> {
        self.archive.by_name(name).map_err(PackFault::of_zip)
    }

    /// The lines of a part. Each is read by a handle of its own, so that several go on beside one another.
    pub fn lines(&mut self, name: &'static str) -> Result<Lines<impl BufRead + '_>, PackFault> {
        Ok(Lines::of(name, BufReader::new(self.part(name)?)))
    }

    /// Another handle to the same file.
    pub fn again(&self) -> Result<Self, PackFault> {
        Ok(Self { path: self.path.clone(), archive: archive(&self.path)? })
    }

    /// A small part as text.
    pub fn text(&mut self, name: &str) -> Result<String, PackFault> {
        let unreadable = |source| PackFault::Part { name: name.to_owned(), source };
        let mut text = String::new();
        let read = self.part(name)?.take(LARGEST_TEXT).read_to_string(&mut text);
        if read.map_err(unreadable)? as u64 == LARGEST_TEXT {
            return Err(PackFault::Unfolds { name: name.to_owned() });
        }
        Ok(text)
    }
}

fn archive(path: &Path) -> Result<ZipArchive<BufReader<File>>, PackFault> {
    let mut file = File::open(path).map_err(PackFault::Unreadable)?;
    if told_parts(&mut file)
        .map_err(PackFault::Unreadable)?
        .is_none_or(|told| told > MOST_PARTS as u64)
    {
        return Err(PackFault::NoPack);
    }
    // Nothing stands before the first part: not even what would show something else to another program.
    let config = Config { archive_offset: ArchiveOffset::Known(0) };
    ZipArchive::with_config(config, BufReader::new(file)).map_err(|error| match error {
        zip::result::ZipError::Io(error) => PackFault::Unreadable(error),
        _ => PackFault::NoPack,
    })
}

/// How many parts the file says that it has, before anything is made of them; none where its end is not that of a pack.
///
/// # Source
///
/// PKWARE's APPNOTE, sections 4.3.14 to 4.3.16, from memory: the last record of the format and its longer form.
fn told_parts(file: &mut File) -> io::Result<Option<u64>> {
    const LAST: u64 = 22;
    const LOCATOR: u64 = 20;
    let length = file.metadata()?.len();
    let Some(at) = length.checked_sub(LAST) else { return Ok(None) };
    let last: [u8; 22] = bytes_at(file, at)?;
    // Nothing stands behind it, so that it is found in one place only.
    if last[..4] != *b"PK\x05\x06" || last[20..] != [0, 0] {
        return Ok(None);
    }
    let told = u16::from_le_bytes([last[10], last[11]]);
    if told != u16::MAX {
        return Ok(Some(told.into()));
    }
    let Some(at) = at.checked_sub(LOCATOR) else { return Ok(None) };
    let locator: [u8; 20] = bytes_at(file, at)?;
    let longer = locator[8..16].try_into().map(u64::from_le_bytes).unwrap_or(u64::MAX);
    if locator[..4] != *b"PK\x06\x07" || longer.checked_add(56).is_none_or(|end| end > at) {
        return Ok(None);
    }
    let longer: [u8; 56] = bytes_at(file, longer)?;
    let told = longer[32..40].try_into().map(u64::from_le_bytes).ok();
    Ok(told.filter(|_| longer[..4] == *b"PK\x06\x06"))
}

fn bytes_at<const N: usize>(file: &mut File, at: u64) -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    file.seek(io::SeekFrom::Start(at))?;
    file.read_exact(&mut bytes)?;
    Ok(bytes)
}

/// A name that somebody chose, fit to be shown.
fn printable(name: &str) -> String {
    name.chars().take(100).flat_map(char::escape_default).collect()
}
