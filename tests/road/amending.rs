//! Nobody's change is lost: whoever changes something says which version of it they read.

use serde_json::{Value, json};

use crate::harness::{Answer, Client, Description, Team, at};
use crate::operations::permissions::{SECOND_RECORDING, team_with_a_past};

/// Something that is changed.
struct Change {
    operation: &'static str,
    /// Who changes it.
    who: &'static str,
    /// Where it is read.
    read: &'static str,
    /// Where its change is sent, after the place where it is read.
    sent: &'static str,
    /// The body that changes it, from what is there.
    body: fn(&Value) -> Value,
}

impl Change {
    fn read(&self) -> String {
        if self.read.starts_with('/') { self.read.to_owned() } else { at(self.read) }
    }

    /// Sends the change, under these headers.
    #[track_caller]
    fn send(&self, person: &Client, headers: &[(&str, &str)], body: &Value) -> Answer {
        let mut person = person.clone();
        for (name, value) in headers {
            person = person.with(name, value);
        }
        let path = format!("{}{}", self.read(), self.sent);
        if matches!(self.sent, "/drop" | "/removal" | "/setting-aside" | "/clock") {
            person.post(&path, body.clone())
        } else {
            person.put(&path, body.clone())
        }
    }
}

/// A field of what is there, with another text in one of its fields.
fn renamed(present: &Value, field: &str, text: &str) -> Value {
    let mut changed = present.clone();
    changed[field] = text.into();
    changed
}

const CHANGES: &[Change] = &[
    Change {
        operation: "accounts_amend",
        who: "keeper",
        read: "/api/v1/accounts/cas",
        sent: "",
        body: |_| json!({ "name": "Cas Oak", "administrator": false, "disabled": false }),
    },
    Change {
        operation: "aircraft_describe",
        who: "lea",
        read: "aircraft",
        sent: "",
        body: |it| renamed(it, "name", "Tallow"),
    },
    Change {
        operation: "policy_set",
        who: "sam",
        read: "policy",
        sent: "",
        body: |it| {
            let mut policy = it.clone();
            policy["weather_good_for_min"] = 30.into();
            policy
        },
    },
    Change {
        operation: "people_list_person",
        who: "lea",
        read: "people/cas",
        sent: "",
        body: |it| renamed(&it["person"], "name", "Cas Oak"),
    },
    Change {
        operation: "channels_define",
        who: "eve",
        read: "channels/motor_temp",
        sent: "",
        body: |it| renamed(it, "title", "Winding"),
    },
    Change {
        operation: "recorders_describe",
        who: "eve",
        read: "recorders/logger",
        sent: "",
        body: |it| renamed(it, "title", "Motor logger"),
    },
    Change {
        operation: "checks_define",
        who: "eve",
        read: "checks/C-ISO",
        sent: "",
        body: |it| renamed(&it["check"], "title", "Isolation"),
    },
    Change {
        operation: "hazards_record",
        who: "eve",
        read: "hazards/H-FIRE",
        sent: "",
        body: |it| renamed(&it["hazard"], "title", "Fire"),
    },
    Change {
        operation: "documents_file",
        who: "lea",
        read: "documents/D-PERMIT",
        sent: "",
        body: |it| renamed(&it["document"], "reference", "8"),
    },
    Change {
        operation: "exceedances_explain",
        who: "eve",
        read: "exceedances/1",
        sent: "/explanation",
        body: |_| json!({ "explanation": "A hot day.", "action": "Wait for a cool one." }),
    },
    Change {
        operation: "results_amend",
        who: "pip",
        read: "runs/1/results/GR-01",
        sent: "",
        body: |it| {
            let mut values = it["values"].clone();
            values[0]["value"] = json!(54.0);
            values[0].as_object_mut().unwrap().remove("source");
            json!({ "values": values, "observations": "Read off the wrong line before." })
        },
    },
    Change {
        operation: "runs_correct",
        who: "lea",
        read: "runs/1",
        sent: "/times",
        body: |it| {
            let mut times = it["times"].clone();
            times["power_off"] = times["power_on"].clone();
            json!({ "times": times, "reason": "Typed in from the paper log." })
        },
    },
    Change {
        operation: "points_plan",
        who: "lea",
        read: "points/GR-02",
        sent: "",
        body: |it| renamed(&it["plan"], "title", "Again"),
    },
    Change {
        operation: "points_drop",
        who: "lea",
        read: "points/GR-02",
        sent: "/drop",
        body: |_| json!({ "reason": "Covered by GR-01." }),
    },
    Change {
        operation: "recordings_confirm_clock",
        who: "eve",
        read: "recordings/109e12f1a96cc86b27aa2bf1aa06fd46a85e324781b52893f87bc9972806f5e1",
        sent: "/clock",
        body: |_| {
            json!({
                "against": SECOND_RECORDING, "channel": "motor_temp",
                "offset_s": 4.7, "correlation": 0.98,
            })
        },
    },
    Change {
        operation: "recordings_set_aside",
        who: "lea",
        read: "recordings/109e12f1a96cc86b27aa2bf1aa06fd46a85e324781b52893f87bc9972806f5e1",
        sent: "/setting-aside",
        body: |_| json!({ "reason": "Of another tug." }),
    },
    Change {
        operation: "configuration_fit",
        who: "eve",
        read: "configuration/items/motor",
        sent: "",
        body: |_| json!({ "title": "Motor", "kind": "part", "version": "M2", "reason": "Worn." }),
    },
    Change {
        operation: "configuration_remove",
        who: "eve",
        read: "configuration/items/motor",
        sent: "/removal",
        body: |_| json!({ "reason": "Sent to its builder." }),
    },
];

#[test]
fn whoever_changes_something_says_which_version_and_another_version_than_the_present_is_refused() {
    let team = team_with_a_past();
    let keeper = team.server.sign_in("keeper");
    let described = Description::read(&team.server.stranger());
    // Imports ask for no version, and heed the one that they are given.
    let all: Vec<_> = described
        .operations()
        .filter(|it| it.amends && !it.id.ends_with("_import"))
        .map(|it| &*it.id)
        .collect();
    let mut told: Vec<_> = CHANGES.iter().map(|change| change.operation).collect();
    told.sort_unstable();
    assert_eq!(told, all, "the operations that change a version of something");

    for change in CHANGES {
        let person = if change.who == "keeper" { &keeper } else { team.person(change.who) };
        let present = person.get(&change.read()).has_status(200);
        let tag = present.header("etag").unwrap_or_else(|| panic!("{}", change.operation));
        let body = (change.body)(&present.json());
        let before = records(&team);

        change.send(person, &[], &body).has_problem(428, "if-match-required");
        for stale in ["\"0.0000000000000000\"", "\"0000000000000000\""] {
            let problem = change.send(person, &[("if-match", stale)], &body);
            let problem = problem.has_problem(412, "stale");
            let told = &problem.json()["present"];
            assert!(told.is_object(), "{}: {}", change.operation, problem.text);
            // With its tag, so that whoever has looked at it can go on from there.
            assert_eq!(version(&problem), version(&present), "{}", change.operation);
        }
        change.send(person, &[("if-none-match", "*")], &body).has_problem(412, "stale");
        change.send(person, &[("if-match", "7")], &body).has_problem(400, "bad-header");
        assert_eq!(records(&team), before, "{}: nothing was recorded", change.operation);

        let changed = change.send(person, &[("if-match", tag)], &body).has_status(200);
        assert_ne!(changed.header("etag"), Some(tag), "{}", change.operation);
        change.send(person, &[("if-match", tag)], &body).has_problem(412, "stale");
        let read = person.get(&change.read()).has_status(200);
        assert_ne!(read.header("etag"), Some(tag), "{}", change.operation);
        let known = person.with("if-none-match", read.header("etag").unwrap());
        assert!(known.get(&change.read()).has_status(304).text.is_empty());
    }
}

/// What the tag says about the version, without what it says about the bytes.
fn version(answer: &Answer) -> Option<&str> {
    answer.header("etag").and_then(|tag| tag.split('.').next())
}

fn records(team: &Team) -> Value {
    team.person("ivo").get(&at("ledger")).has_status(200).json()["size"].clone()
}

#[test]
fn an_import_of_what_others_have_changed_since_it_was_read_is_refused_where_it_says_what_was_read()
{
    let team = Team::new();
    for (place, kind) in [("document", "application/toml"), ("points-table", "text/csv")] {
        let path = at(place);
        let lea = team.person("lea");
        let read = lea.get(&path).has_status(200);
        let import = |tag: &str| {
            let text = read.text.replace("Show that it turns.", &format!("Turn it: {place}."));
            lea.with("if-match", tag).send("POST", &path, Some((kind, text)))
        };
        let mut plan = team.person("eve").get(&at("points/GR-02")).json()["plan"].clone();
        plan["title"] = format!("Changed before the {place} came back").into();
        team.person("eve").change(&at("points/GR-02"), plan).has_status(200);
        import(read.header("etag").unwrap()).has_problem(412, "stale");
        let present = lea.get(&path).has_status(200);
        import(present.header("etag").unwrap()).has_status(200);
    }
}

#[test]
fn something_new_needs_no_version_and_can_be_asked_for_as_new_only() {
    let team = Team::new();
    let eve = team.person("eve").with("if-none-match", "*");
    let channel = json!({ "code": "pack_temp", "title": "Warmest cell", "unit": "degC" });
    eve.put(&at("channels/pack_temp"), channel.clone()).has_status(201);
    eve.put(&at("channels/pack_temp"), channel.clone()).has_problem(412, "stale");
    let eve = team.person("eve").with("if-match", "*");
    eve.put(&at("channels/oil_temp"), renamed(&channel, "code", "oil_temp"))
        .has_problem(412, "stale");
    eve.put(&at("channels/pack_temp"), renamed(&channel, "title", "Cell")).has_status(200);
}
