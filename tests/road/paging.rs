//! Long lists come in pages that begin after a key: walked to the end they hold each row once.

use serde_json::{Value, json};

use crate::harness::{Client, Description, Server, Team, at};
use crate::operations::permissions::path_of;

fn rows(page: &Value) -> Vec<Value> {
    page["items"].as_array().unwrap_or_else(|| panic!("{page:#}")).clone()
}

/// Follows `next` to the end.
fn walk(reader: &Client, first: &str) -> Vec<Value> {
    let mut all = Vec::new();
    let mut next = Some(first.to_owned());
    while let Some(path) = next {
        let page = reader.get(&path).has_status(200).json();
        let of_page = rows(&page);
        assert!(!of_page.is_empty() || all.is_empty(), "{path}: an empty page after others");
        all.extend(of_page);
        next = page["next"].as_str().map(str::to_owned);
    }
    all
}

#[test]
fn every_list_of_the_demonstration_walked_in_small_pages_has_each_row_once_and_in_order() {
    let server = Server::demonstration();
    let reader = server.sign_in_to_demonstration("marit");
    let first = |list: &str, noun: &str| {
        let page = reader.get(&format!("/api/v1/programmes/tallow/{list}")).has_status(200).json();
        rows(&page)[0][noun]["code"].as_str().unwrap().to_owned()
    };
    let (limit, check) = (first("limits", "limit"), first("checks", "check"));
    let mut walked = 0;
    // Accounts are for an administrator, and the demonstration has none among its people.
    for operation in Description::read(&reader)
        .operations()
        .filter(|it| it.queries.contains("after") && it.id != "accounts_list")
    {
        let path = path_of(operation)
            .replace("/small/", "/tallow/")
            .replace("L-MOTOR", &limit)
            .replace("C-ISO", &check);
        let whole = walk(&reader, &format!("{path}?limit=500"));
        for limit in [1, 7].into_iter().filter(|limit| whole.len() / limit < 100) {
            let in_pages = walk(&reader, &format!("{path}?limit={limit}"));
            assert!(in_pages == whole, "{path} in pages of {limit}");
        }
        walked += usize::from(whole.len() > 1);
        for bad in ["limit=0", "limit=501", "limit=many", "limit=1&colour=red"] {
            reader.get(&format!("{path}?{bad}")).has_problem(400, "bad-query");
        }
    }
    assert!(walked > 12, "only {walked} lists have more than one row");
}

#[test]
fn what_is_added_while_somebody_turns_pages_neither_repeats_nor_hides_a_row() {
    let team = Team::new();
    let (cas, ivo) = (team.person("cas"), team.person("ivo"));
    let open = |title: String| {
        let body = json!({ "title": title, "grounding": false, "severity": "marginal" });
        cas.post(&at("snags"), body).has_status(201);
    };
    (0..7).for_each(|count| open(format!("Scratch {count}")));
    // Newest first, so that the new ones push the old ones down.
    let mut seen = Vec::new();
    let mut next = Some(at("snags?limit=2&open=true"));
    while let Some(path) = next {
        let page = ivo.get(&path).has_status(200).json();
        seen.extend(rows(&page).iter().map(|row| row["snag"].as_u64().unwrap()));
        next = page["next"].as_str().map(str::to_owned);
        open("Dent".to_owned());
    }
    assert_eq!(seen, [7, 6, 5, 4, 3, 2, 1]);
}

#[test]
fn an_administrator_turns_the_pages_of_the_accounts() {
    let team = Team::new();
    let keeper = team.server.sign_in("keeper");
    let handles: Vec<_> = walk(&keeper, "/api/v1/accounts?limit=2")
        .iter()
        .map(|row| row["handle"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(handles, ["cas", "eve", "ivo", "keeper", "lea", "pip", "sam"]);
}
