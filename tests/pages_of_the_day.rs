//! The pages of a test day and of the club room: each form taken, refused with what was typed, and not permitted.

use crate::harness::{Answer, Client, Server};
use crate::pages::{fields, signs_in, token};

/// What everybody signs with in the demonstration.
const PIN: &str = "271845";

/// A page of the demonstration's programme.
fn at(rest: &str) -> String {
    format!("/programmes/tallow{rest}")
}

/// Sends a form of a page, with the token that the page's forms carry.
fn sends(who: &Client, page: &str, to: &str, pairs: &[(&str, &str)]) -> Answer {
    let seen = who.get(&at(page)).has_status(200);
    let mut all = vec![("form.token", token(&seen.text))];
    all.extend_from_slice(pairs);
    who.send("POST", &at(to), fields(&all))
}

/// Where a reply leads, without the record that it tells.
fn leads_to(answer: &Answer) -> String {
    let place = answer.header("location").unwrap_or_default();
    place.split('?').next().unwrap_or_default().to_owned()
}

#[test]
fn the_weather_is_observed_on_the_page_of_the_day_and_what_cannot_be_is_shown_again() {
    let server = Server::demonstration();
    let ruth = signs_in(&server, "ruth");
    let calm = [
        ("form.name", "weather"),
        ("weather.wind:measure kt?", "6"),
        ("weather.gust:measure kt?", "9"),
        ("weather.precipitation:chosen?", "false"),
        ("weather.remarks?", "Grass dry <b>"),
        ("observed_at:moment?", ""),
    ];
    let taken = sends(&ruth, "/today", "/today/weather", &calm).has_status(303);
    assert_eq!(leads_to(&taken), at("/today"));
    let seen = ruth.get(&at("/today")).has_status(200).text;
    assert!(seen.contains("9 kt") && seen.contains("Grass dry &lt;b&gt;"), "{seen}");
    assert!(seen.contains("New enough until"), "{seen}");

    let mut gusts_below = calm;
    gusts_below[2].1 = "3";
    let refused = sends(&ruth, "/today", "/today/weather", &gusts_below);
    assert!((400..500).contains(&refused.status), "{}", refused.status);
    assert!(refused.text.contains("below the mean wind"), "{}", refused.text);
    assert!(refused.text.contains("value=\"Grass dry &lt;b&gt;\""), "what was typed stands there");

    let nothing = [("form.name", "weather"), ("weather:object", "")];
    let silent = sends(&ruth, "/today", "/today/weather", &nothing);
    silent.has_problem_page("must say something");

    let viktor = signs_in(&server, "viktor");
    sends(&viktor, "/stand-down", "/today/weather", &calm).has_status(403);
}

#[test]
fn a_check_is_reported_on_both_its_pages_and_a_pass_is_never_presumed() {
    let server = Server::demonstration();
    let ruth = signs_in(&server, "ruth");
    let tomas = signs_in(&server, "tomas");
    let passed = [
        ("form.name", "done"),
        ("form.check", "C-BRAKE"),
        ("passed:chosen", "true"),
        ("findings", "4 mm; both wheels hold at 35 kW."),
    ];
    let taken = sends(&ruth, "/checks/C-BRAKE", "/checks/C-BRAKE/done", &passed).has_status(303);
    assert_eq!(leads_to(&taken), at("/checks/C-BRAKE"));
    let seen = ruth.get(&at("/checks/C-BRAKE")).has_status(200).text;
    assert!(seen.contains("4 mm; both wheels hold at 35 kW."), "{seen}");

    let taken = sends(&ruth, "/checks/C-BRAKE", "/today/checks", &passed).has_status(303);
    assert_eq!(leads_to(&taken), at("/today"));

    let mut nothing_chosen = passed;
    nothing_chosen[2].1 = "";
    for to in ["/checks/C-BRAKE/done", "/today/checks"] {
        let refused = sends(&ruth, "/checks/C-BRAKE", to, &nothing_chosen);
        assert!((400..500).contains(&refused.status), "{to}: {}", refused.status);
        refused.has_problem_page("4 mm; both wheels hold at 35 kW.");
    }

    let mut insulation = passed;
    insulation[1].1 = "C-ISO";
    let refused = sends(&ruth, "/checks/C-BRAKE", "/checks/C-ISO/done", &insulation);
    refused.has_problem_page("is done by engineer");
    sends(&ruth, "/checks/C-BRAKE", "/today/checks", &insulation)
        .has_problem_page("is done by engineer");
    sends(&tomas, "/checks/C-ISO", "/checks/C-ISO/done", &insulation).has_status(303);

    for handle in ["viktor", "sofia"] {
        let other = signs_in(&server, handle);
        sends(&other, "/stand-down", "/checks/C-BRAKE/done", &passed).has_status(403);
        sends(&other, "/stand-down", "/today/checks", &passed).has_status(403);
    }
    ruth.get(&at("/checks/C-NOWHERE")).has_status(404);
}

#[test]
fn a_happening_ends_the_checks_that_name_it() {
    let server = Server::demonstration();
    let jonas = signs_in(&server, "jonas");
    let hard = [
        ("form.name", "happened"),
        ("event", "hard-landing"),
        ("account", "Flat from about a metre."),
    ];
    let taken = sends(&jonas, "/checks", "/happenings", &hard).has_status(303);
    assert_eq!(leads_to(&taken), at("/checks"));
    let brakes = jonas.get(&at("/checks/C-BRAKE")).has_status(200).text;
    assert!(brakes.contains("ended it, record no."), "{brakes}");

    let mut silent = hard;
    silent[2].1 = "";
    let refused = sends(&jonas, "/checks", "/happenings", &silent);
    assert!((400..500).contains(&refused.status), "{}", refused.status);
    let viktor = signs_in(&server, "viktor");
    sends(&viktor, "/stand-down", "/happenings", &hard).has_status(403);
}

#[test]
fn a_snag_is_opened_worked_on_and_closed_by_another_and_each_refusal_keeps_what_was_typed() {
    let server = Server::demonstration();
    let jonas = signs_in(&server, "jonas");
    let snag = [
        ("form.name", "open"),
        ("title", "Canopy latch stiff"),
        ("grounding:chosen", "true"),
        ("severity", "marginal"),
        ("item?", ""),
        ("run:count?", ""),
        ("phases:list", ""),
        ("phases[]", "taxi"),
    ];
    let taken = sends(&jonas, "/snags", "/snags", &snag).has_status(303);
    let page = leads_to(&taken);
    let number = page.rsplit('/').next().unwrap().to_owned();
    assert_eq!(page, at(&format!("/snags/{number}")));
    let list = jonas.get(&at("/snags")).has_status(200).text;
    assert!(list.contains("Canopy latch stiff") && list.contains("grounds taxi"), "{list}");

    let mut unsaid = snag;
    unsaid[2].1 = "";
    let refused = sends(&jonas, "/snags", "/snags", &unsaid);
    assert!((400..500).contains(&refused.status), "{}", refused.status);
    assert!(refused.text.contains("value=\"Canopy latch stiff\""), "what was typed stands there");

    let work = format!("/snags/{number}/work");
    let done = [("form.name", "work"), ("cause?", "Dry pivot."), ("action?", "Greased.")];
    let here = format!("/snags/{number}");
    let ruth = signs_in(&server, "ruth");
    sends(&ruth, &here, &work, &done).has_status(303);
    let nothing = [("form.name", "work"), ("cause?", ""), ("action?", "")];
    let refused = sends(&ruth, &here, &work, &nothing);
    assert!((400..500).contains(&refused.status), "{}", refused.status);
    sends(&jonas, &here, &work, &done).has_status(403);

    let tomas = signs_in(&server, "tomas");
    let seen = tomas.get(&at(&here)).has_status(200).text;
    let digest = seen.split("name=\"digest\" value=\"").nth(1).unwrap().split('"').next().unwrap();
    let closing = format!("/snags/{number}/closing");
    let close = [
        ("form.name", "close"),
        ("digest", digest),
        ("cause", "Dry pivot."),
        ("action", "Greased; opens with a finger."),
        ("secret", PIN),
    ];
    let mut wrong_pin = close;
    wrong_pin[4].1 = "000000";
    let refused = sends(&tomas, &here, &closing, &wrong_pin);
    assert!((400..500).contains(&refused.status), "{}", refused.status);
    assert!(refused.text.contains("Greased; opens with a finger."), "what was typed stands there");
    assert!(!refused.text.contains("000000"), "but never a secret");
    sends(&ruth, &here, &closing, &close).has_status(403);
    sends(&tomas, &here, &closing, &close).has_status(303);
    let late = sends(&ruth, &here, &work, &done);
    late.has_problem_page("Greased.");
    let list = jonas.get(&here_of(&number)).has_status(200).text;
    assert!(list.contains("Closed by"), "{list}");
    signs_in(&server, "viktor").get(&at("/snags/999")).has_status(404);
    let viktor = signs_in(&server, "viktor");
    sends(&viktor, "/stand-down", "/snags", &snag).has_status(403);
}

fn here_of(number: &str) -> String {
    at(&format!("/snags/{number}"))
}

#[test]
fn a_kept_checkpoint_is_held_against_the_ledger_and_another_is_not_taken_for_it() {
    let server = Server::demonstration();
    let viktor = signs_in(&server, "viktor");
    let api = server.sign_in_to_demonstration("viktor");
    let kept = api.get("/api/v1/programmes/tallow/ledger/checkpoint").has_status(200).text;
    let jonas = signs_in(&server, "jonas");
    let stop = [("form.name", "call"), ("reason", "Practice.")];
    sends(&jonas, "/stand-down", "/stand-down", &stop).has_status(303);

    let asks = |text: &str| {
        let pairs = [("form.name", "against"), ("kept", text)];
        sends(&viktor, "/ledger", "/ledger/against", &pairs)
    };
    let grew = asks(&kept.replace('\n', "\r\n")).has_status(200).text;
    assert!(grew.contains("only grew since that checkpoint"), "{grew}");
    assert!(!grew.contains("no key that this server knows"), "{grew}");

    let size = kept.lines().nth(1).unwrap().to_owned();
    let smaller = (size.parse::<u64>().unwrap() - 1).to_string();
    let altered = kept.replacen(&format!("\n{size}\n"), &format!("\n{smaller}\n"), 1);
    let differs = asks(&altered).has_status(200).text;
    assert!(differs.contains("does not follow from that checkpoint"), "{differs}");
    let elsewhere = asks(&kept.replace("/tallow", "/other")).has_status(200).text;
    assert!(elsewhere.contains("cannot be held against this ledger"), "{elsewhere}");
    assert!(asks("five lines").has_status(200).text.contains("cannot be held"), "no checkpoint");
    asks(" ").has_problem_page("Paste the checkpoint");

    let checked = viktor.get(&at("/ledger/check")).has_status(200).text;
    assert!(checked.contains("records agree with their hashes"), "{checked}");
    let last = viktor.get(&at("/ledger")).has_status(200).text;
    assert!(last.contains("called a stand-down: Practice."), "{last}");
    let first = viktor.get(&at("/ledger/1")).has_status(200).text;
    assert!(first.contains("began the programme") && first.contains("It stands in the ledger"));
    viktor.get(&at("/ledger/999999")).has_status(404);
    viktor.get(&at("/ledger/0")).has_status(404);
}

impl Answer {
    /// A refusal that a page tells in these words.
    #[track_caller]
    fn has_problem_page(&self, words: &str) {
        assert!((400..500).contains(&self.status), "{}: {}", self.status, self.text);
        assert!(self.text.contains(words), "{}", self.text);
    }
}

#[test]
fn everybody_of_the_programme_reads_all_pages_of_the_day_and_a_stranger_none() {
    let server = Server::demonstration();
    let viktor = signs_in(&server, "viktor");
    let days = viktor.get(&at("/days")).has_status(200).text;
    let link = days.split("href=\"/programmes/tallow/days/").nth(1).expect("a test day");
    let day = link.split('"').next().unwrap();
    let pages = [
        ("/today", "Today, "),
        ("/hours", "under power"),
        ("/snags", "Snags"),
        ("/checks", "Checks"),
        ("/people", "Who may sign what"),
        ("/ledger", "Checkpoint"),
        ("/runs/1/briefing", "Anyone may stop."),
        (&format!("/days/{day}"), "What is open for the next day"),
        (&format!("/days/{day}?as_of=now"), "What is open for the next day"),
    ];
    for (page, says) in pages {
        let seen = viktor.get(&at(page)).has_status(200).text;
        assert!(seen.contains(says), "{page}: {seen}");
        let elsewhere = page.split('?').next().unwrap();
        viktor.get(&format!("/programmes/nowhere{elsewhere}")).has_status(404);
    }
    for unknown in ["/days/soon", "/days/2999-01-01", "/runs/999/briefing"] {
        viktor.get(&at(unknown)).has_status(404);
    }

    let log = viktor.get(&at("/hours/runs.csv")).has_status(200);
    let kind = log.header("content-type").unwrap_or_default();
    assert!(kind.starts_with("text/csv"), "{kind}");
    let hours = viktor.get(&at("/hours/completed.json")).has_status(200).json();
    let counted = hours["runs"].as_array().unwrap().len();
    assert!(counted > 0);
    assert_eq!(log.text.lines().count(), counted + 1, "a heading and a line a run: {}", log.text);
}
