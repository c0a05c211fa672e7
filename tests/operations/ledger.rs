//! The ledger: its records, size and root, and the proofs.

use super::Story;
use crate::harness::at;

pub(super) const SHOWN: &[&str] = &[
    "ledger_head",
    "ledger_list",
    "ledger_read",
    "ledger_inclusion",
    "ledger_consistency",
    "checkpoints_read",
    "checkpoints_keys",
    "differences_read",
];

#[test]
fn the_inspector_reads_every_record_as_it_is_kept_with_proofs_that_none_was_altered() {
    let story = Story::begins();
    let [_, _, ivo, ..] = story.people();

    let head = ivo.get(&at("ledger")).has_status(200).json();
    let size = head["size"].as_u64().unwrap();
    assert_eq!(head["root"].as_str().map(str::len), Some(64));
    ivo.get(&at("ledger?colour=red")).has_problem(400, "bad-query");
    let all = ivo.get(&at("ledger/records?limit=500")).has_status(200).json();
    assert_eq!(all["items"].as_array().map(|items| items.len() as u64), Some(size));
    assert_eq!(all["items"][0]["entry"]["kind"], "programme-founded");
    ivo.get(&at("ledger/records?limit=0")).has_problem(400, "bad-query");
    let record = ivo.get(&at("ledger/records/2")).has_status(200).json();
    assert_eq!(record, all["items"][1]);
    for missing in ["0", "99999"] {
        ivo.get(&at(&format!("ledger/records/{missing}"))).has_problem(404, "not-found");
    }

    let proof = ivo.get(&at("ledger/inclusion?seq=2")).has_status(200).json();
    assert_eq!((&proof["leaf"], &proof["root"]), (&record["leaf"], &head["root"]));
    ivo.get(&at("ledger/inclusion")).has_problem(400, "bad-query");
    ivo.get(&at("ledger/inclusion?seq=99999")).has_problem(400, "bad-query");
    let grown = ivo.get(&at("ledger/consistency?first=3")).has_status(200).json();
    assert_eq!((&grown["first"]["size"], &grown["second"]), (&3.into(), &head));
    ivo.get(&at("ledger/consistency?first=99999")).has_problem(400, "bad-query");

    let changed = ivo.get(&at("ledger/differences?from=1&to=3")).has_status(200).json();
    assert_eq!((&changed["from"], &changed["to"]), (&1.into(), &3.into()));
    assert_eq!(changed["records"].as_array().map(Vec::len), Some(2));
    let planned = ivo.get(&at("ledger/differences?from=1")).has_status(200).json();
    assert_eq!(planned["points"][0]["after"], "held", "{planned:#}");
    assert!(planned["points"][0]["before"].is_null(), "it was not planned yet");
    for wrong in
        ["", "?from=3&to=1", "?from=signed", "?from=signed:GR-99", "?from=opened:9", "?from=then"]
    {
        ivo.get(&at(&format!("ledger/differences{wrong}"))).has_problem(400, "bad-query");
    }

    let latest = ivo.get(&at("ledger/checkpoint")).has_status(200);
    let lines: Vec<&str> = latest.text.lines().collect();
    assert_eq!(lines[1], size.to_string());
    assert!(lines[4].starts_with(&format!("\u{2014} {} ", lines[0])), "{}", latest.text);
    let keys = ivo.get(&at("ledger/keys")).has_status(200).json();
    assert_eq!(
        (&keys["origin"], keys["keys"].as_array().map(Vec::len)),
        (&lines[0].into(), Some(1))
    );
    ivo.get(&at("ledger/keys?colour=red")).has_problem(400, "bad-query");
    let same = ivo.get(&at(&format!("ledger/checkpoint?size={size}"))).has_status(200);
    assert_eq!(same.text, latest.text);
    ivo.get(&at("ledger/checkpoint?size=99999")).has_problem(404, "not-found");
    ivo.get(&at("ledger/checkpoint?size=-1")).has_problem(400, "bad-query");

    story.has_shown(SHOWN);
}
