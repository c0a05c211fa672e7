//! From a manuscript to PDF. Nothing else knows the typesetter.
//!
//! The world that the typesetter sees has two files, our template and the manuscript as JSON, and the fonts that are part
//! of the program: no disk, no network, no packages, no clock. So the same manuscript always gives the same bytes.

use std::sync::{LazyLock, Mutex, PoisonError};

use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, pdf};

use crate::Trouble;
use crate::manuscript::{CheckpointFacts, Manuscript};

/// The most that one paper may have to set: cells, paragraphs and marks. So that no paper takes for ever; how long the longest takes was not measured.
const MOST: usize = 400_000;

/// Families that papers are set in; the other fonts of the collection are for formulas.
const FAMILIES: [&str; 2] = ["Libertinus Serif", "DejaVu Sans Mono"];

/// What does not change from paper to paper.
struct Workshop {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    template: Source,
    manuscript: FileId,
}

fn file(path: &str) -> FileId {
    let path = VirtualPath::new(path).expect("the names of our own two files are plain");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

static WORKSHOP: LazyLock<Workshop> = LazyLock::new(|| {
    let fonts = typst_assets::fonts().flat_map(|bytes| Font::iter(Bytes::new(bytes)));
    let fonts: Vec<Font> =
        fonts.filter(|font| FAMILIES.contains(&font.info().family.as_str())).collect();
    Workshop {
        library: LazyHash::new(Library::default()),
        book: LazyHash::new(FontBook::from_fonts(&fonts)),
        fonts,
        template: Source::new(file("/template.typ"), include_str!("template.typ").to_owned()),
        manuscript: file("/manuscript.json"),
    }
});

/// One at a time: the typesetter uses all processors, and keeps what it computes in one place.
static PRESS: Mutex<()> = Mutex::new(());

/// All that the typesetter can see.
struct Desk {
    workshop: &'static Workshop,
    manuscript: Bytes,
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.workshop.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.workshop.book
    }

    fn main(&self) -> FileId {
        self.workshop.template.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.workshop.template.id() {
            return Ok(self.workshop.template.clone());
        }
        Err(FileError::AccessDenied)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == self.workshop.manuscript {
            return Ok(self.manuscript.clone());
        }
        Err(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.workshop.fonts.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

impl Manuscript {
    /// Sets the paper and gives it as PDF: tagged, with title and language, and with size, root and moment of the ledger on
    /// every page. The same manuscript and facts give the same bytes.
    ///
    /// It takes its time, and all processors; one is set at a time.
    ///
    /// # Errors
    ///
    /// [`Trouble::TooLong`] where there is more to set than one paper may have; [`Trouble::Unset`] where the typesetter
    /// fails, which is a fault of the program.
    pub fn typeset(&self, facts: &CheckpointFacts) -> Result<Vec<u8>, Trouble> {
        let weight = self.weight();
        if weight > MOST {
            return Err(Trouble::TooLong { parts: weight, most: MOST });
        }
        let to_set = self.to_set(facts);
        let manuscript = serde_json::to_vec(&to_set)
            .map_err(|error| Trouble::Unset { why: error.to_string() })?;
        // A panic while setting leaves nothing half done that the next could see.
        let _turn = PRESS.lock().unwrap_or_else(PoisonError::into_inner);
        let desk = Desk { workshop: &WORKSHOP, manuscript: Bytes::new(manuscript) };
        let set = typst::compile::<PagedDocument>(&desk).output.map_err(unset).and_then(|set| {
            let options = PdfOptions {
                ident: Smart::Custom(format!("{}\n{}\n{}", self.title, self.of, facts.root)),
                creator: Smart::Custom(Some("Rungbook".to_owned())),
                ..PdfOptions::default()
            };
            pdf(&set, &options).map_err(unset)
        });
        // What was computed for this paper is of no use for the next.
        typst::comemo::evict(0);
        set
    }
}

fn unset(faults: impl IntoIterator<Item = typst::diag::SourceDiagnostic>) -> Trouble {
    let why: Vec<_> = faults.into_iter().map(|fault| fault.message.to_string()).collect();
    Trouble::Unset { why: why.join("; ") }
}
