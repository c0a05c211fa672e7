//! Checking the ledger: every hash computed again from what is on disk, or a kept checkpoint held against it.

use maud::{Markup, html};
use programme::codes::ProgrammeId;
use programme::ledger::checkpoint::SignedCheckpoint;
use programme::ledger::{Tree, consistency_holds, leaf_hash};

use crate::office::Office;
use crate::problem::Problem;

/// So many records are read at a time.
const AT_A_TIME: u32 = 1000;

/// What computing everything again found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Records {
    /// Records whose hash was computed.
    pub records: u64,
    /// The root that they have.
    pub root: String,
    /// What is wrong, with the first record that shows it; absent: all agrees.
    pub wrong: Option<String>,
}

/// What a kept checkpoint says of the ledger as it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Against {
    /// The ledger only grew since.
    Grew { from: u64, to: u64, signed: bool },
    /// It does not follow from the checkpoint.
    Differs { why: String },
    /// It cannot be held against the ledger.
    Unreadable { why: String },
}

/// Computes every record's hash again, and holds the root against the one that the server goes by.
pub(super) async fn records(office: &Office, programme: &ProgrammeId) -> Result<Records, Problem> {
    let unknown = || Problem::unknown("programme", programme);
    let head = office.store.tree(programme).ok_or_else(unknown)?;
    let mut tree = Tree::default();
    while tree.size() < head.size {
        let some = office.store.entries(programme, tree.size(), AT_A_TIME).await?;
        if some.is_empty() {
            let wrong = format!("record {} is not there", tree.size() + 1);
            return Ok(found(&tree, Some(wrong)));
        }
        for entry in some.into_iter().take_while(|entry| entry.seq <= head.size) {
            let seq = tree.size() + 1;
            let leaf = leaf_hash(entry.text.as_bytes());
            if entry.seq != seq {
                return Ok(found(&tree, Some(format!("record {seq} is not there"))));
            }
            if leaf != entry.leaf {
                let wrong = format!("the text of record {seq} is not the one that was hashed");
                return Ok(found(&tree, Some(wrong)));
            }
            tree.push(leaf);
        }
    }
    let wrong = (tree.root() != head.root).then(|| {
        format!("the root over the {} records is another than the server goes by", head.size)
    });
    Ok(found(&tree, wrong))
}

fn found(tree: &Tree, wrong: Option<String>) -> Records {
    Records { records: tree.size(), root: tree.root().to_string(), wrong }
}

/// Holds a kept checkpoint against the ledger as it is.
pub(super) async fn against(
    office: &Office,
    programme: &ProgrammeId,
    kept: &str,
) -> Result<Against, Problem> {
    // A note ends with the line of its signature, which a form cuts off.
    let text = format!("{}\n", kept.trim().replace("\r\n", "\n"));
    let kept: SignedCheckpoint = match text.parse() {
        Ok(kept) => kept,
        Err(error) => return Ok(Against::Unreadable { why: error.to_string() }),
    };
    let store = &office.store;
    let keys = store.checkpoint_keys(programme).await?;
    let (origin, keys) = keys.ok_or_else(|| Problem::unknown("programme", programme))?;
    let checkpoint = &kept.checkpoint;
    if checkpoint.origin != origin {
        let why = format!("it is of the ledger {}, and this one is {origin}", checkpoint.origin);
        return Ok(Against::Unreadable { why });
    }
    let head = store.tree(programme).ok_or_else(|| Problem::unknown("programme", programme))?;
    let (from, to) = (checkpoint.size, head.size);
    if from > to {
        let why = format!(
            "the checkpoint is of {from} records, and the ledger has {to}: records are missing"
        );
        return Ok(Against::Differs { why });
    }
    let proof = store.consistency_proof(programme, from, to);
    let grew =
        proof.is_some_and(|proof| consistency_holds(from, to, &proof, checkpoint.root, head.root));
    if !grew {
        let why = format!(
            "a record up to no. {from} is another than it was when the checkpoint was signed"
        );
        return Ok(Against::Differs { why });
    }
    let signed = keys.iter().any(|key| kept.is_signed_by(key));
    Ok(Against::Grew { from, to, signed })
}

/// What was found.
#[derive(Debug, Clone)]
pub(crate) struct CheckedPage {
    pub place: String,
    pub found: Option<Records>,
    pub against: Option<Against>,
}

impl CheckedPage {
    pub fn body(&self) -> Markup {
        html! {
            p { a href={ (self.place) "/ledger" } { "Ledger" } }
            h1 { "Ledger checked" }
            @if let Some(found) = &self.found { (found.told()) }
            @if let Some(against) = &self.against { (against.told()) }
            h2 { "What this says, and what not" }
            p { "Each record's hash is SHA-256 over its text, and the root binds all of them in their order: nobody can alter, leave out or move a record without another root." }
            p { "But the server that is asked computes this itself. Whoever does not trust it keeps a checkpoint elsewhere, on paper or with somebody else, and checks with " code { "rungbook verify --against" } " on another machine." }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |wrong: Option<String>, against| {
            let root = "9f86d081".repeat(8);
            let found = Some(Records { records: 412, root, wrong });
            CheckedPage { place: "/programmes/tug".to_owned(), found, against }.body()
        };
        vec![
            ("ordinary", page(None, Some(Against::Grew { from: 400, to: 412, signed: true }))),
            ("empty", page(None, Some(Against::Unreadable { why: "it is empty".to_owned() }))),
            (
                "worst case",
                page(
                    Some(long("record 3 is not there", 60)),
                    Some(Against::Differs { why: long("it differs", 60) }),
                ),
            ),
        ]
    }
}

impl Records {
    fn told(&self) -> Markup {
        html! {
            @match &self.wrong {
                None => {
                    p.recorded role="status" { "All " (self.records) " records agree with their hashes, and their root with the one that the server goes by." }
                }
                Some(wrong) => {
                    p.warn role="alert" { strong { "It does not agree: " } (wrong) ". " (self.records) " records before it agree. Stop, keep the folder as it is, and have whoever runs the server run " code { "rungbook verify" } "." }
                }
            }
            dl.pairs { dt { "Root computed" } dd { code.digest { (self.root) } } }
        }
    }
}

impl Against {
    fn told(&self) -> Markup {
        html! {
            @match self {
                Against::Grew { from, to, signed } => {
                    p.recorded role="status" { "The ledger only grew since that checkpoint: " (from) " records then, " (to) " now, and the first " (from) " are the same." }
                    @if !signed { p.warn { "The signature on it is of no key that this server knows: look where it came from." } }
                }
                Against::Differs { why } => {
                    p.warn role="alert" { strong { "The ledger does not follow from that checkpoint: " } (why) ". Keep the checkpoint, and tell the safety officer." }
                }
                Against::Unreadable { why } => {
                    p.warn role="alert" { strong { "That cannot be held against this ledger: " } (why) ". Paste all of its lines as they were given." }
                }
            }
        }
    }
}
