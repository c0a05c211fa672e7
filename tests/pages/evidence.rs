//! The page "Evidence": a pack is ordered, looked at until it is ready, and taken away, as a browser without scripts does it.

use std::time::{Duration, Instant};

use sha2::{Digest, Sha256};

use super::forms::Form;
use super::{signs_in, token};
use crate::harness::{Answer, Client, Server};

const EVIDENCE: &str = "/programmes/tallow/evidence";

/// Loads the page until nothing waits any more.
fn looks_until_done(person: &Client) -> Answer {
    let began = Instant::now();
    loop {
        let page = person.get(EVIDENCE).has_status(200);
        if !page.text.contains("Look again") {
            return page;
        }
        assert!(began.elapsed() < Duration::from_secs(240), "{}", page.text);
        std::thread::sleep(Duration::from_millis(200));
    }
}

#[test]
fn an_inspector_orders_a_pack_on_the_page_and_takes_it_away_with_its_digest_and_how_to_check_it() {
    let server = Server::demonstration();
    let [viktor, tomas] = ["viktor", "tomas"].map(|handle| signs_in(&server, handle));
    let empty = viktor.get(EVIDENCE).has_status(200).reads("Nothing was ordered of late");
    let empty = empty.reads("rungbook verify --pack FILE --against CHECKPOINT");
    empty.clone().reads("licensed inspectors come first").reads("clears nobody to fly");
    let point = r#"{"of":"point","point":"GR-02"}"#;
    let pack = || Form::of(&empty, "pack").with("scope:chosen", point);
    let own = token(&tomas.get("/").has_status(200).text).to_owned();
    pack().by_another(&own).send(&viktor).has_status(403);
    let drafts = Form::of(&empty, "paper").with("what", "risk-register");
    let refused = drafts.with("scope:chosen", point).send(&viktor).has_status(422);
    let refused = refused.reads("A draft is of the whole programme");
    assert_eq!(Form::of(&refused, "paper").has("what"), "risk-register", "what was chosen stays");

    let form = pack().and("digests_only:chosen", "true");
    let told = form.send(&viktor).has_status(303);
    assert_eq!(told.header("location"), Some(EVIDENCE));
    let page = looks_until_done(&viktor).reads("Ready.").reads("the point GR-02");
    let link = page.text.split(&format!("href=\"{EVIDENCE}/")).nth(1).expect("a link");
    let link = format!("{EVIDENCE}/{}", link.split('"').next().unwrap());
    let file = viktor.get(&link).has_status(200);
    assert_eq!(file.header("content-type"), Some("application/zip"));
    let digest: String = Sha256::digest(&file.bytes).iter().map(|b| format!("{b:02x}")).collect();
    page.reads(&digest);
    // The API reads no cookie, and nobody fetches it without one.
    server.stranger().with("accept", "text/html").get(&link).has_status(303);
    viktor.get("/programmes/tallow/evidence/none/file").has_status(404);
    // A page of the past tells nothing of what is made now as if it had been so then.
    let then = viktor.get(&format!("{EVIDENCE}?as_of=160")).has_status(200).text;
    assert!(!then.contains("As it stood"), "{then}");

    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack.zip");
    std::fs::write(&pack, &file.bytes).unwrap();
    let nowhere = folder.path().join("nowhere");
    let verified = Server::command(&nowhere, &["verify", "--pack", pack.to_str().unwrap()]);
    assert!(verified.status.success(), "{verified:?}");
}
