//! Each house goes on by itself: its accounts, sessions, repeated requests, streams and database are its own.

use std::time::{Duration, Instant};

use serde_json::json;

use super::{OF_THE_SECOND, heads, observes, signs_in, size, two};
use crate::harness::{
    Client, Event, HOSTS, Organisations, PASSWORD, Server, Team, at, database_of, lets_in,
    postgres_or_say_why_not, program, remarks, serves, table, verifies,
};

/// How long a server may take to know of something: what another server does within a second, and what a busy machine adds.
const SOON: Duration = Duration::from_secs(30);

#[track_caller]
fn comes_true(what: &str, is: impl Fn() -> bool) {
    let began = Instant::now();
    while !is() {
        assert!(began.elapsed() < SOON, "{what}: not within {SOON:?}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[test]
fn the_same_names_stand_for_other_people_and_other_things_in_each_organisation() {
    let both = two();
    let [north, south] = [0, 1].map(|team| both.stranger(team));
    signs_in(&north, "pip", PASSWORD).has_status(201);
    signs_in(&south, "pip", PASSWORD).has_problem(401, "sign-in-refused");
    signs_in(&south, "pip", OF_THE_SECOND).has_status(201);
    signs_in(&north, "pip", OF_THE_SECOND).has_problem(401, "sign-in-refused");
    let [of_north, of_south] = [0, 1].map(|team| remarks(&both.person(team, "lea")));
    assert!(of_south.values().any(|it| it == "Fog in the south."), "{of_south:?}");
    assert!(!of_north.values().any(|it| it == "Fog in the south."), "{of_north:?}");
    // What is made once and kept for a second is kept for one house.
    let mut plan =
        both.person(1, "lea").get(&at("points/GR-01")).has_status(200).json()["plan"].clone();
    plan["title"] = "The first point of the south".into();
    both.person(1, "lea").change(&at("points/GR-01"), plan).has_status(200);
    let point = [0, 1].map(|team| both.person(team, "lea").get(&at("points/GR-01")).text);
    assert_ne!(point[0], point[1]);
    for team in [0, 1] {
        let view = both.person(team, "lea").get(&at("points/GR-01"));
        assert_eq!(view.has_status(200).text, point[team]);
        both.person(team, "lea").get("/api/v1/health/ready").has_status(200);
    }
}

#[test]
fn one_key_has_an_effect_in_each_organisation_and_one_each() {
    let both = two();
    let cas = [0, 1].map(|team| both.person(team, "cas").with("idempotency-key", "once"));
    let before = [0, 1].map(|team| size(&both.person(team, "lea")));
    let first = cas.each_ref().map(|cas| observes(cas, "Dry.").has_status(201));
    for (team, cas) in cas.iter().enumerate() {
        observes(cas, "Dry.").is_again(&first[team]);
        assert_eq!(size(&both.person(team, "lea")), before[team] + 1);
    }
    // Another request under the key is refused where the key was used, and nowhere else.
    let again = [0, 1].map(|team| both.person(team, "cas").with("idempotency-key", "twice"));
    observes(&again[0], "Dry.").has_status(201);
    observes(&again[1], "Wet.").has_status(201);
    observes(&again[0], "Wet.").has_problem(422, "idempotency-key-reused");
}

#[test]
fn who_is_put_out_of_one_organisation_stays_in_the_other_and_a_refresh_token_is_good_in_its_own() {
    let both = two();
    let [north, south] = [0, 1].map(|team| both.person(team, "cas"));
    north.delete("/api/v1/sessions/current").succeeds();
    north.get(&at("ledger")).has_problem(401, "token-refused");
    south.get(&at("ledger")).has_status(200);

    let signed_in = signs_in(&both.stranger(0), "cas", PASSWORD).has_status(201).json();
    let refresh = json!({ "refresh_token": signed_in["refresh_token"] });
    let refreshes =
        |team: usize| both.stranger(team).post("/api/v1/sessions/refresh", refresh.clone());
    refreshes(1).has_problem(401, "refresh-refused");
    // It was no second use of it: the session goes on where it began.
    refreshes(0).has_status(201);

    // Who guesses at one is made to wait there.
    for _ in 0..10 {
        signs_in(&both.stranger(0), "ivo", "a guess that is wrong");
    }
    signs_in(&both.stranger(0), "ivo", PASSWORD).has_problem(429, "too-many-attempts");
    signs_in(&both.stranger(1), "ivo", PASSWORD).has_status(201);
}

#[test]
fn whoever_listens_hears_of_their_own_organisation_alone_and_all_are_let_go_at_the_end() {
    let mut both = two();
    let [north, south] = [0, 1].map(|team| both.person(team, "ivo"));
    let sizes = [&north, &south].map(size);
    let mut hears = south.listens(&at("events"));
    let mut of_north = north.listens(&at("events"));
    assert_eq!(hears.next(), Event::Seq(sizes[1]));
    assert_eq!(of_north.next(), Event::Seq(sizes[0]));
    for _ in 0..3 {
        observes(&both.person(0, "cas"), "Dry.").has_status(201);
    }
    observes(&both.person(1, "cas"), "Wet.").has_status(201);
    assert_eq!(hears.next(), Event::Seq(sizes[1] + 1));
    assert_eq!(both.person(0, "ivo").at_host(HOSTS[1]).listens(&at("events")).status, 401);
    both.server.is_asked_to_end();
    assert_eq!(hears.next(), Event::End);
    while let Event::Seq(seq) = of_north.next() {
        assert!(seq <= sizes[0] + 3, "{seq}");
    }
    both.server.ends_within(Duration::from_secs(20));
    for team in [0, 1] {
        verifies(both.data(team));
    }
}

#[test]
fn the_figures_are_of_all_organisations_together_and_name_none() {
    let both = two();
    let said = both.server.says_within_a_moment("/metrics");
    let place = said.split_whitespace().find(|word| word.ends_with("/metrics")).unwrap();
    let watcher = both.server.stranger().speaking_at(place.trim_end_matches("/metrics"));
    let figures = watcher.get("/metrics").has_status(200);
    let records: u64 = [0, 1].map(|team| size(&both.person(team, "lea"))).iter().sum();
    let figures = figures
        .reads("\nrungbook_programmes 2\n")
        .reads("\nrungbook_writing 1\n")
        .reads(&format!("\nrungbook_ledger_records {records}\n"));
    assert!(!figures.text.contains("example.org"), "{}", figures.text);
}

/// What the watcher is told of all organisations.
fn ready(server: &Server) -> (u16, String) {
    let said = server.says_within_a_moment("/metrics");
    let place = said.split_whitespace().find(|word| word.ends_with("/metrics")).unwrap();
    let mut answer = ureq::Agent::config_builder()
        .http_status_as_error(false)
        .build()
        .new_agent()
        .get(place.replace("/metrics", "/health/ready"))
        .call()
        .unwrap();
    (answer.status().as_u16(), answer.body_mut().read_to_string().unwrap())
}

#[test]
fn an_organisation_whose_database_goes_away_keeps_no_other_from_its_work() {
    let Some(postgres) = postgres_or_say_why_not() else { return };
    // One in its folder, the other on PostgreSQL.
    let folder = tempfile::tempdir().unwrap();
    let data = ["north", "south"].map(|name| folder.path().join(name));
    let database = [None, Some(database_of(&postgres, &data[1]))];
    for (data, database) in data.iter().zip(&database) {
        let mut init = program();
        init.args(["init", "--administrator", "keeper", "--data"]).arg(data);
        init.env("RUNGBOOK_PASSWORD", PASSWORD);
        if let Some(url) = database {
            init.env("RUNGBOOK_DATABASE_URL", url);
        }
        let made = init.output().unwrap();
        assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    }
    let settings = folder.path().join("settings.toml");
    let [first, second] = [0, 1].map(|it| table(HOSTS[it], &data[it], database[it].clone()));
    std::fs::write(&settings, [first, second].concat()).unwrap();
    let server = serves(&settings, &["--metrics", "127.0.0.1:0"]);
    let keepers = HOSTS.map(|host| {
        let mut keeper = server.stranger().at_host(host);
        let entry = signs_in(&keeper, "keeper", PASSWORD).has_status(201).json();
        keeper.token = entry["access_token"].as_str().map(str::to_owned);
        keeper
    });
    let adds = |keeper: &Client, handle: &str| {
        keeper.post(
            "/api/v1/accounts",
            json!({ "handle": handle, "name": handle, "password": PASSWORD }),
        )
    };
    let is_ready = |keeper: &Client| keeper.get("/api/v1/health/ready").status;
    assert_eq!(ready(&server).0, 200);

    lets_in(&postgres, &data[1], false);
    comes_true("known to be away", || is_ready(&keepers[1]) == 503);
    let (status, told) = ready(&server);
    assert_eq!(status, 503);
    assert!(told.contains("south.example.org: The database cannot be reached"), "{told}");
    assert!(!told.contains(HOSTS[0]), "{told}");
    for count in 0..5 {
        adds(&keepers[0], &format!("pilot{count}")).has_status(201);
        assert_eq!(is_ready(&keepers[0]), 200);
    }
    let own = keepers[1].get("/api/v1/health/ready").has_problem(503, "not-writing");
    assert!(!own.text.contains("example.org"), "{}", own.text);
    adds(&keepers[1], "otto").has_problem(503, "not-writing");

    lets_in(&postgres, &data[1], true);
    comes_true("there again", || is_ready(&keepers[1]) == 200 && ready(&server).0 == 200);
    adds(&keepers[1], "otto").has_status(201);
    let listed = [0, 1].map(|it| keepers[it].get("/api/v1/accounts").has_status(200).text);
    assert!(!listed[0].contains("otto") && !listed[1].contains("pilot0"), "{listed:?}");
}

#[test]
fn several_servers_have_the_same_organisations_on_a_database_each() {
    if postgres_or_say_why_not().is_none() {
        return;
    }
    let both = Organisations::of([Team::new(), Team::new()]);
    let (second, _folder) = both.joined_by_another();
    let before = heads(&both);
    for (here, there) in [(0, 1), (1, 0)] {
        let at_the_first = both.person(here, "cas");
        let at_the_second = at_the_first.speaking_to(&second).at_host(HOSTS[here]);
        let size_before = size(&at_the_second);
        observes(&at_the_first, "Dry.").has_status(201);
        observes(&at_the_second, "Wet.").has_status(201);
        comes_true("both at both", || {
            [&at_the_first, &at_the_second].iter().all(|it| size(it) == size_before + 2)
        });
        let guest = at_the_second.at_host(HOSTS[there]);
        guest.get(&at("ledger")).has_problem(401, "token-refused");
        second.stranger().at_host("east.example.org").get("/").has_problem(421, "misdirected");
        at_the_second.delete("/api/v1/sessions/current").succeeds();
        comes_true("out at the first", || at_the_first.get(&at("ledger")).status == 401);
    }
    for (team, before) in before.iter().enumerate() {
        assert_ne!(&both.person(team, "lea").get(&at("ledger")).text, before);
        verifies(both.data(team));
    }
}
