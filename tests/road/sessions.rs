//! What is taken away is gone at once: sessions, accounts, roles. A refresh token that comes twice ends its session.

use serde_json::{Value, json};

use crate::harness::{Answer, Client, PASSWORD, PROGRAMME, Server, Team, at};

fn begin(server: &Server, handle: &str) -> Value {
    let body = json!({ "handle": handle, "password": PASSWORD });
    server.stranger().post("/api/v1/sessions", body).has_status(201).json()
}

fn refresh(server: &Server, tokens: &Value) -> Answer {
    let body = json!({ "refresh_token": tokens["refresh_token"] });
    server.stranger().post("/api/v1/sessions/refresh", body)
}

fn holding(server: &Server, tokens: &Value) -> Client {
    let mut client = server.stranger();
    client.token = tokens["access_token"].as_str().map(str::to_owned);
    client
}

#[test]
fn signing_out_ends_that_session_at_once_and_no_other() {
    let team = Team::new();
    let (phone, tablet) = (begin(&team.server, "cas"), begin(&team.server, "cas"));
    holding(&team.server, &phone).delete("/api/v1/sessions/current").has_status(204);
    holding(&team.server, &phone).get(PROGRAMME).has_problem(401, "token-refused");
    refresh(&team.server, &phone).has_problem(401, "refresh-refused");
    holding(&team.server, &tablet).get(PROGRAMME).has_status(200);
    refresh(&team.server, &tablet).has_status(201);
}

#[test]
fn each_refresh_gives_new_tokens_and_an_old_refresh_token_ends_the_whole_session() {
    let team = Team::new();
    let first = begin(&team.server, "cas");
    let second = refresh(&team.server, &first).has_status(201).json();
    let third = refresh(&team.server, &second).has_status(201).json();
    assert_ne!(second["refresh_token"], third["refresh_token"]);
    holding(&team.server, &third).get(PROGRAMME).has_status(200);
    // Somebody has a copy of the first: nobody knows who is who, so everybody is put out.
    refresh(&team.server, &first).has_problem(401, "refresh-refused").reads("used before");
    refresh(&team.server, &third).has_problem(401, "refresh-refused");
    holding(&team.server, &third).get(PROGRAMME).has_problem(401, "token-refused");
    team.person("cas").get(PROGRAMME).has_status(200);
}

#[test]
fn of_many_who_use_one_refresh_token_at_once_one_at_most_is_let_in() {
    let team = Team::new();
    let tokens = begin(&team.server, "cas");
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let asking: Vec<_> =
            (0..6).map(|_| scope.spawn(|| refresh(&team.server, &tokens).status)).collect();
        asking.into_iter().map(|asking| asking.join().unwrap()).collect()
    });
    assert_eq!(statuses.iter().filter(|status| **status == 201).count(), 1, "{statuses:?}");
    assert!(statuses.iter().all(|status| matches!(status, 201 | 401)), "{statuses:?}");
}

#[test]
fn a_role_that_is_taken_or_given_acts_at_once_on_whoever_is_signed_in() {
    let team = Team::new();
    let (cas, lea) = (team.person("cas"), team.person("lea"));
    let listed = |roles: Value| {
        let person = json!({ "handle": "cas", "name": "Cas", "roles": roles });
        lea.change(&at("people/cas"), person).has_status(200);
    };
    let weather = || cas.post(&at("weather"), json!({ "weather": { "remarks": "Dry." } }));
    weather().has_status(201);
    listed(json!(["viewer"]));
    weather().has_problem(403, "not-permitted");
    cas.get(PROGRAMME).has_status(200);
    listed(json!([]));
    cas.get(PROGRAMME).has_problem(404, "not-found");
    assert_eq!(cas.get("/api/v1/programmes").has_status(200).json()["items"], json!([]));
    listed(json!(["crew"]));
    weather().has_status(201);
}

#[test]
fn disabling_an_account_puts_its_person_out_at_once_and_enabling_lets_them_sign_in_anew() {
    let team = Team::new();
    let keeper = team.server.sign_in("keeper");
    let tokens = begin(&team.server, "cas");
    let disabled = |disabled: bool| {
        let body = json!({ "name": "Cas", "administrator": false, "disabled": disabled });
        keeper.change("/api/v1/accounts/cas", body).has_status(200);
    };
    disabled(true);
    holding(&team.server, &tokens).get(PROGRAMME).has_problem(401, "token-refused");
    team.person("cas").get(PROGRAMME).has_problem(401, "token-refused");
    refresh(&team.server, &tokens).has_problem(401, "refresh-refused");
    let entry = json!({ "handle": "cas", "password": PASSWORD });
    team.server.stranger().post("/api/v1/sessions", entry).has_problem(401, "sign-in-refused");
    disabled(false);
    team.person("cas").get(PROGRAMME).has_problem(401, "token-refused");
    team.server.sign_in("cas").get(PROGRAMME).has_status(200);
}

#[test]
fn a_new_password_from_an_administrator_puts_the_person_out_and_the_old_one_opens_nothing() {
    let team = Team::new();
    let keeper = team.server.sign_in("keeper");
    let body = json!({ "new_password": "wet grass and warm cells" });
    keeper.put("/api/v1/accounts/cas/password", body).has_status(204);
    team.person("cas").get(PROGRAMME).has_problem(401, "token-refused");
    let entry = json!({ "handle": "cas", "password": PASSWORD });
    team.server.stranger().post("/api/v1/sessions", entry).has_problem(401, "sign-in-refused");
    team.server.sign_in_with("cas", "wet grass and warm cells").get(PROGRAMME).has_status(200);
}

#[test]
fn a_token_that_was_altered_or_is_none_opens_nothing() {
    let team = Team::new();
    let good = team.person("cas").token.clone().unwrap();
    let (head, signature) = good.rsplit_once('.').unwrap();
    let mut last = signature.to_owned();
    last.replace_range(0..1, if signature.starts_with('A') { "B" } else { "A" });
    let unsigned = "eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0In0";
    let claims = head.split('.').nth(1).unwrap();
    for bad in [format!("{head}.{last}"), format!("{unsigned}.{claims}."), "nonsense".to_owned()] {
        let mut thief = team.server.stranger();
        thief.token = Some(bad);
        thief.get(PROGRAMME).has_problem(401, "token-refused");
    }
    let anyone = team.server.stranger().get(PROGRAMME).has_problem(401, "not-signed-in");
    assert!(anyone.header("www-authenticate").is_some_and(|it| it.starts_with("Bearer")));
}
