//! A team's ledger as anybody may read it, and as the program checks it.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::Value;

use super::server::{Client, Server};
use super::team::PROGRAMME;

/// What every record holds, by its number; each number is there once.
#[track_caller]
pub fn records(reader: &Client) -> BTreeMap<u64, Value> {
    let mut records = BTreeMap::new();
    let mut next = Some(format!("{PROGRAMME}/ledger/records?limit=200"));
    while let Some(path) = next {
        let page = reader.get(&path).has_status(200).json();
        for record in page["items"].as_array().expect("a page") {
            let seq = record["seq"].as_u64().expect("a number");
            let other = records.insert(seq, record["entry"]["body"].clone());
            assert!(other.is_none(), "record {seq} is there twice");
        }
        next = page["next"].as_str().map(str::to_owned);
    }
    records
}

/// What was remarked of the weather, by the numbers of the records.
#[track_caller]
pub fn remarks(reader: &Client) -> BTreeMap<u64, String> {
    let of_weather = records(reader)
        .into_iter()
        .filter_map(|(seq, body)| Some((seq, body["weather"]["remarks"].as_str()?.to_owned())));
    of_weather.collect()
}

/// Has the program check everything that is kept in a folder.
#[track_caller]
pub fn verifies(data: &Path) {
    let verified = Server::command(data, &["verify"]);
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stderr));
}
