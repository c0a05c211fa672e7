//! How long it takes from the start of the program until it is ready, with a long ledger.

use std::time::Instant;

use serde_json::json;

use super::harness::{Server, Team};
use super::{ROUNDS, median, rounded, told};

const RECORDS: u64 = 100_000;

pub fn measure() {
    let team = Team::new();
    let crew = team.person("cas");
    let (data, began) = (team.server.data.clone(), Instant::now());
    let path = format!("{}/weather", super::harness::PROGRAMME);
    let body = json!({ "weather": { "remarks": "one of many" } });
    let target = super::load::Target::post(
        &team.server.base,
        &path,
        &format!("authorization: Bearer {}\r\n", crew.token.as_deref().unwrap()),
        &body.to_string(),
    );
    target.times(64, RECORDS as usize);
    let writing_s = began.elapsed().as_secs_f64();
    let mut server = team.server;
    server.ends_when_asked();
    let mut took = Vec::new();
    for _ in 0..ROUNDS {
        let began = Instant::now();
        // It says where it answers once every record was checked and taken in.
        let mut again = Server::serve(&data);
        again.stranger().get("/api/v1/health/ready").has_status(200);
        took.push(began.elapsed().as_secs_f64() * 1e3);
        again.ends_when_asked();
    }
    told(
        "from the start of the program until it is ready, every record's hash checked on the way",
        json!({ "records": RECORDS, "ms": rounded(median(took)), "written_before_in_s": rounded(writing_s) }),
    );
}
