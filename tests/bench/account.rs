//! How long it takes to be refused, and what the program needs of memory.

use std::time::Duration;

use serde_json::json;

use super::harness::{Server, Team};
use super::{median, resident_mb, rounded, told};

pub fn measure() {
    signing_in();
    memory();
}

/// Who is there and who is not: the same work, so that nobody learns handles by it.
fn signing_in() {
    let team = Team::served_with(&["--behind-proxy"]);
    let mut took = (Vec::new(), Vec::new());
    for round in 0..60 {
        // From another address each time, so that nobody is made to wait.
        let anyone = team.server.stranger().with("x-forwarded-for", &format!("192.0.2.{round}"));
        let refused = |handle: &str| {
            let began = std::time::Instant::now();
            let body = json!({ "handle": handle, "password": "a guess that is wrong" });
            anyone.post("/api/v1/sessions", body).has_status(401);
            began.elapsed().as_secs_f64() * 1e3
        };
        let unknown = format!("nobody-{round}");
        // The first of a round opens the connection, so each is the first in every other round.
        if round % 2 == 0 {
            took.0.push(refused("lea"));
            took.1.push(refused(&unknown));
        } else {
            took.1.push(refused(&unknown));
            took.0.push(refused("lea"));
        }
    }
    let spread = |values: &[f64]| {
        let middle = median(values.to_vec());
        median(values.iter().map(|value| (value - middle).abs()).collect())
    };
    told(
        "being refused with a wrong password and with a handle that nobody has",
        json!({
            "known_ms": rounded(median(took.0.clone())), "known_deviation_ms": rounded(spread(&took.0)),
            "unknown_ms": rounded(median(took.1.clone())), "unknown_deviation_ms": rounded(spread(&took.1)),
        }),
    );
}

/// Right after the first sign-in, and after every point was read once over some seconds: what the start and the password hash
/// needed is given back meanwhile.
fn memory() {
    let server = Server::demonstration();
    let lead = server.sign_in_to_demonstration("marit");
    let at_first = resident_mb(server.process());
    let points = lead.get("/api/v1/programmes/tallow/points?limit=500").has_status(200).json();
    for point in points["items"].as_array().unwrap() {
        let code = point["code"].as_str().unwrap();
        lead.get(&format!("/api/v1/programmes/tallow/points/{code}")).has_status(200);
        std::thread::sleep(Duration::from_millis(50));
    }
    let after = resident_mb(server.process());
    told(
        "memory with the demonstration",
        json!({ "at_first_mb": rounded(at_first), "after_every_point_was_read_mb": rounded(after) }),
    );
}
