//! Which ledgers go on from copies, by what the folder has seen of them.

use std::collections::HashMap;
use std::path::Path;

use programme::codes::ProgrammeId;

use super::{OpenError, Programmes};
use crate::fence::{self, CopyFound, Fence, Marks};
use crate::notary::Notary;
use crate::published::{Head, Published};
use crate::secret;
use crate::sql::Link;

/// Holds the ledgers against how far they are known to have come: which of them go on from copies.
pub(super) async fn open_fence(
    link: &mut Link<'_>,
    data_dir: &Path,
    programmes: &Programmes,
    notary: &Notary,
) -> Result<(Fence, HashMap<ProgrammeId, CopyFound>), OpenError> {
    let (secret, made) = secret::find_or_make_new(link, fence::PLACE).await?;
    let place = fence::place_of(&secret);
    let before = Marks::read(data_dir).map_err(OpenError::Fence)?;
    // A database that has never been in a folder with this file is no copy; it may be from before there was such a file.
    let strange = before.as_ref().map_or(!made, |marks| marks.place != place);
    let before = before.unwrap_or_default();
    let mut marks = Marks { place, ..before.clone() };
    if strange {
        // What another database had is no concern of this one.
        marks.heads.retain(|name, _| programmes.keys().any(|id| id.as_str() == name));
    }
    let mut copies = HashMap::new();
    for (id, published) in programmes {
        let published = published.read();
        let name = id.as_str();
        let stands = |head: &Head| published.tree.root_at(head.size) == Some(head.root);
        let known = before.heads.get(name).copied();
        let waiting = before.copies.get(name).copied();
        let keyless = !notary.has(notary.key_of(id, &published.state));
        let found = match waiting {
            Some(found) if stands(&found.head) => Some(found),
            _ if strange
                || keyless
                || waiting.is_some()
                || known.is_some_and(|it| !stands(&it)) =>
            {
                Some(copy_at(&published, known))
            }
            _ => None,
        };
        match found.filter(|found| !found.is_acknowledged_in(&published.state)) {
            Some(found) => {
                tell_of_copy(name, found);
                marks.copies.insert(name.to_owned(), found);
                copies.insert(id.clone(), found);
            }
            None => {
                marks.copies.remove(name);
                marks.heads.insert(name.to_owned(), published.head);
            }
        }
    }
    let fence = Fence::open(data_dir, marks).map_err(OpenError::Fence)?;
    Ok((fence, copies))
}

/// What the fence of a folder told of a database that others have open as well.
pub(super) struct FoundAmongOthers {
    pub fence: Fence,
    pub copies: HashMap<ProgrammeId, CopyFound>,
    /// Copies of which the database does not know yet.
    pub new: Vec<(ProgrammeId, CopyFound)>,
}

/// Holds the ledgers against how far they are known to have come, where the database is not in the folder.
///
/// A folder that has seen nothing yet may join a database at any time: that is how a second server begins, and it makes no copy
/// of anything. A folder that has seen the database further than it is now, or otherwise, tells that the database went back:
/// to an older dump, or to a replica that had not heard of everything. That is so for all servers, so it is noted in the
/// database. A folder that belongs to another database is refused, since what it has seen means nothing here.
pub(super) fn open_fence_among_others(
    data_dir: &Path,
    token: &[u8],
    programmes: &Programmes,
    notary: &Notary,
    noted: HashMap<String, CopyFound>,
) -> Result<FoundAmongOthers, OpenError> {
    let place = fence::place_of(token);
    let before = Marks::read(data_dir).map_err(OpenError::Fence)?;
    if before.as_ref().is_some_and(|marks| marks.place != place) {
        return Err(OpenError::OtherFolder { path: data_dir.to_owned() });
    }
    let mut marks = Marks { place, ..before.unwrap_or_default() };
    let (mut copies, mut new) = (HashMap::new(), Vec::new());
    for (id, published) in programmes {
        let published = published.read();
        let name = id.as_str();
        let stands = |head: &Head| published.tree.root_at(head.size) == Some(head.root);
        let known = marks.heads.get(name).copied();
        let went_back = known.is_some_and(|head| !stands(&head));
        let keyless = !notary.has(notary.key_of(id, &published.state));
        let found = match noted.get(name).copied() {
            Some(found) if !went_back => Some(found),
            _ if went_back || keyless => {
                let found = copy_at(&published, known);
                new.push((id.clone(), found));
                Some(found)
            }
            _ => None,
        };
        match found.filter(|found| !found.is_acknowledged_in(&published.state)) {
            Some(found) => {
                tell_of_copy(name, found);
                copies.insert(id.clone(), found);
            }
            None => {
                new.retain(|(of, _)| of != id);
                marks.heads.insert(name.to_owned(), published.head);
            }
        }
    }
    let fence = Fence::open(data_dir, marks).map_err(OpenError::Fence)?;
    Ok(FoundAmongOthers { fence, copies, new })
}

/// A copy that goes as far as the ledger does, where more of it may be known.
fn copy_at(published: &Published, known: Option<Head>) -> CopyFound {
    let known = known.map(|head| head.size).filter(|size| *size > published.head.size);
    CopyFound { head: published.head, known }
}

fn tell_of_copy(programme: &str, found: CopyFound) {
    tracing::warn!(
        programme,
        records = found.head.size,
        known = found.known,
        "the ledger of {programme} goes on from a copy: nobody signs in it until test lead and safety officer have acknowledged that"
    );
}
