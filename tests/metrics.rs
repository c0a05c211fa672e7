//! Figures about the service are served where whoever starts it says so, and nowhere else. What they tell is held against what was
//! done by `tests/reference/check_metrics.py`.

use crate::harness::Team;

#[test]
fn figures_are_served_on_an_address_of_their_own_and_only_where_one_is_named() {
    let team = Team::new();
    team.person("lea").get("/metrics").has_problem(404, "no-such-path");
    assert!(!team.server.said().contains("metrics"), "{}", team.server.said());

    let team = Team::served_with(&["--metrics", "127.0.0.1:0"]);
    team.server.stranger().get("/metrics").has_problem(404, "no-such-path");
    let said = team.server.says_within_a_moment("/metrics");
    let place = said.split_whitespace().find(|word| word.ends_with("/metrics")).unwrap();
    let base = place.trim_end_matches("/metrics");
    let figures = team.server.stranger().speaking_at(base).get("/metrics").has_status(200);
    let kind = figures.header("content-type").unwrap();
    assert_eq!(kind, "application/openmetrics-text; version=1.0.0; charset=utf-8");
    assert!(figures.text.ends_with("# EOF\n"), "{}", figures.text);
    // Six people signed in, and their programme has records; none of them is named.
    let figures = figures
        .reads("\nrungbook_sign_ins_total{outcome=\"admitted\"} 6\n")
        .reads("\nrungbook_programmes 1\n");
    for name in ["small", "\"lea\"", "GR-01"] {
        assert!(!figures.text.contains(name), "{name}: {}", figures.text);
    }
}
