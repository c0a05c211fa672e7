//! The ledger: its records in plain words, its checkpoint, and checking it.

mod checked;
mod sentence;
mod shown;

use actix_web::http::StatusCode;
use programme::entry::Entry;
use programme::ledger::inclusion_holds;
use serde::Deserialize;
use store::StoredEntry;

pub(crate) use checked::CheckedPage;
pub(crate) use shown::{LedgerPage, RecordPage};

use super::around::Section;
use super::door::Member;
use super::form::Form;
use crate::access::Read;
use crate::desk::Answer;
use crate::given::{At, Query, Seq};
use crate::office::Office;
use crate::problem::{INVALID, Problem};

/// So many records stand on a page.
const ROWS: u64 = 50;

/// Which records.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Which {
    /// Only records with a smaller number.
    pub before: Option<u64>,
}

/// The last records.
pub(crate) async fn show(member: Member<Read>, which: Query<Which>, office: Office) -> Answer {
    let programme = &member.programme.id;
    let unknown = || Problem::unknown("programme", programme);
    let head = office.store.tree(programme).ok_or_else(unknown)?;
    let end = which.before.unwrap_or(u64::MAX).min(head.size + 1);
    let after = end.saturating_sub(ROWS + 1);
    let rows = u32::try_from(end.saturating_sub(1).saturating_sub(after)).unwrap_or(0);
    let entries = office.store.entries(programme, after, rows).await?;
    let checkpoint = office.store.checkpoint(programme, None).await?;
    let keys = office.store.checkpoint_keys(programme).await?;
    let page = member
        .look(&office, |view| {
            let lines = entries.iter().rev().map(|entry| shown::line(view.state, entry)).collect();
            Ok(LedgerPage {
                place: member.place(""),
                token: member.visitor.form_token.clone(),
                size: head.size,
                root: head.root.to_string(),
                lines,
                older: (after > 0).then_some(after + 1),
                newest: which.before.is_none(),
                backup: office.backup.as_ref().map(store::BackupWatch::now),
                checkpoint: checkpoint.map(|it| it.signed.to_string()),
                keys: keys
                    .map(|(_, keys)| keys.iter().map(ToString::to_string).collect())
                    .unwrap_or_default(),
            })
        })
        .await?;
    Ok(member.around("Ledger", Section::Ledger).of_all_time().reply(StatusCode::OK, page.body()))
}

/// One record.
pub(crate) async fn record(member: Member<Read>, seq: At<Seq>, office: Office) -> Answer {
    let programme = &member.programme.id;
    let seq = seq.0.0;
    let unknown = || Problem::unknown("record", seq);
    let before = seq.checked_sub(1).ok_or_else(unknown)?;
    let found = office.store.entries(programme, before, 1).await?.pop();
    let entry = found.filter(|entry| entry.seq == seq).ok_or_else(unknown)?;
    let head = office.store.tree(programme).ok_or_else(unknown)?;
    let proof = office.store.inclusion_proof(programme, seq, head.size);
    let stands = proof.as_ref().is_some_and(|(_, proof)| {
        let leaf = programme::ledger::leaf_hash(entry.text.as_bytes());
        inclusion_holds(leaf, before, head.size, proof, head.root)
    });
    let page = member
        .look(&office, |view| {
            Ok(RecordPage {
                place: member.place(""),
                line: shown::line(view.state, &entry),
                leaf: entry.leaf.to_string(),
                text: entry.text.clone(),
                size: head.size,
                root: head.root.to_string(),
                hashes: proof.map(|(_, proof)| proof.len()).unwrap_or_default(),
                stands,
            })
        })
        .await?;
    let around = member.around(format!("Record {seq}"), Section::Ledger).of_all_time();
    Ok(around.reply(StatusCode::OK, page.body()))
}

/// What an entry says, where this program can read it.
fn read(entry: &StoredEntry) -> Option<Entry> {
    Entry::from_json(&entry.text).ok()
}

/// Computes every record's hash and the root again.
pub(crate) async fn check(member: Member<Read>, office: Office) -> Answer {
    // Reading a whole ledger takes time in proportion to its length, so only a few do it at once.
    let _turn = office.past.turn().await.map_err(|error| {
        Problem::new(crate::problem::BUSY, "The server is ending. Ask again later.").because(error)
    })?;
    let found = checked::records(&office, &member.programme.id).await?;
    checked_page(
        &member,
        CheckedPage { place: member.place(""), found: Some(found), against: None },
    )
}

/// Holds a checkpoint that somebody kept against the ledger.
pub(crate) async fn against(member: Member<Read>, form: Form, office: Office) -> Answer {
    let kept = form.text("kept");
    if kept.trim().is_empty() {
        return Err(Problem::of_field(
            INVALID,
            "kept",
            "Paste the checkpoint that you kept, all five lines of it.",
        ));
    }
    let against = checked::against(&office, &member.programme.id, kept).await?;
    let page = CheckedPage { place: member.place(""), found: None, against: Some(against) };
    checked_page(&member, page)
}

fn checked_page(member: &Member<Read>, page: CheckedPage) -> Answer {
    Ok(member
        .around("Ledger checked", Section::Ledger)
        .of_all_time()
        .reply(StatusCode::OK, page.body()))
}
