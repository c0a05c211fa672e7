//! Every page in its three states: ordinary, empty, worst case.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;

use maud::Markup;
use programme::codes::PointCode;
use programme::holds::{Hold, Stage, Subject};

use super::*;

/// What somebody could have written into any text to have a script run.
pub(super) const PAYLOAD: &str = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>";

/// A text that is ordinary, or as long and as bad as people could make it.
pub(super) fn long(text: &str, many: usize) -> String {
    if many <= 10 {
        text.to_owned()
    } else {
        format!("{} {PAYLOAD} {}", text.repeat(8), "w".repeat(120))
    }
}

/// So many codes, as long as they may be.
pub(super) fn codes(many: usize) -> Vec<PointCode> {
    (0..many).map(|place| PointCode::new(&format!("TX-{place:0>37}")).unwrap()).collect()
}

/// So many holds.
pub(super) fn holds(many: usize) -> Vec<Hold> {
    let hold = |place: usize| Hold {
        rule: "plan-not-approved",
        subject: Subject { what: "point", code: format!("TX-{place:02}") },
        why: long("The plan is not approved.", many),
        clears: long("A test lead approves the plan.", many),
        source: "the programme's policy".to_owned(),
        stage: if place.is_multiple_of(2) { Stage::Release } else { Stage::Run },
    };
    (0..many).map(hold).collect()
}

fn samples() -> Vec<(&'static str, Vec<(&'static str, Markup)>)> {
    vec![
        ("sign-in", sign_in::SignInPage::samples()),
        ("home", home::HomePage::samples()),
        ("account", account::AccountPage::samples()),
        ("programme", overview::ProgrammePage::samples()),
        ("ladder", ladder::LadderPage::samples()),
        ("point", point::PointPage::samples()),
        ("cards", card::CardsPage::samples()),
        ("runs", runs::RunsPage::samples()),
        ("run", run::RunPage::samples()),
        ("result", result::ResultPage::samples()),
        ("recordings", recordings::RecordingsPage::samples()),
        ("recorders", recorders::RecordersPage::samples()),
        ("mapping", recorders::MappingPage::samples()),
        ("recording", recording::RecordingPage::samples()),
        ("limits of a run", recording::LimitsPage::samples()),
        ("clock", recording::ClockPage::samples()),
        ("intervals", recording::IntervalsPage::samples()),
        ("interval", interval::IntervalPage::samples()),
        ("plot", plot::PlotPage::samples()),
        ("exceedance", exceedance::ExceedancePage::samples()),
        ("envelope", envelope::EnvelopePage::samples()),
        ("predictions", predictions::PredictionsPage::samples()),
        ("configuration", configuration::ConfigurationPage::samples()),
        ("dry run", configuration::DryRunPage::samples()),
        ("narrowing", configuration::NarrowingPage::samples()),
        ("hazards", hazards::HazardsPage::samples()),
        ("hazard", hazards::HazardPage::samples()),
        ("tomorrow", tomorrow::TomorrowPage::samples()),
        ("energy of a day", tomorrow::EnergyPage::samples()),
        ("forecast", forecast::ForecastPage::samples()),
        ("past", past::PastPage::samples()),
        ("changes", changes::ChangesPage::samples()),
        ("stand-down", stand_down::StandDownPage::samples()),
        ("today", today::TodayPage::samples()),
        ("briefing", briefing::BriefingPage::samples()),
        ("evening summary", evening::EveningPage::samples()),
        ("test days", evening::DaysPage::samples()),
        ("dates", dates::DatesPage::samples()),
        ("ledger", ledger::LedgerPage::samples()),
        ("record", ledger::RecordPage::samples()),
        ("ledger checked", ledger::CheckedPage::samples()),
        ("progress", progress::ProgressPage::samples()),
        ("evidence", evidence::EvidencePage::samples()),
        ("hours", hours::HoursPage::samples()),
        ("snags", snags::SnagsPage::samples()),
        ("snag", snags::SnagPage::samples()),
        ("people", people::PeoplePage::samples()),
        ("checks", checks::ChecksPage::samples()),
        ("check", checks::CheckPage::samples()),
        ("form that was not sent", unsent::UnsentPage::samples()),
    ]
}

/// Writes a sample as a file that a browser opens, where the variable `PAGE_SAMPLES` names a folder: to be looked at.
fn lay_out(page: &str, state: &str, body: &Markup) {
    let Some(folder) = std::env::var_os("PAGE_SAMPLES").map(std::path::PathBuf::from) else {
        return;
    };
    let style = include_str!("assets/rungbook.css");
    let title = format!("{page}, {state}");
    let whole = maud::html! {
        (maud::DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (maud::PreEscaped(style)) }
            }
            body { div.columns { main { (body) } } }
        }
    };
    std::fs::create_dir_all(&folder).unwrap();
    let file = format!("{}.html", title.replace(", ", "-").replace(' ', "-"));
    std::fs::write(folder.join(file), whole.into_string()).unwrap();
}

#[test]
fn every_page_has_one_heading_of_the_first_order_ids_of_their_own_and_nothing_that_a_policy_forbids()
 {
    for (page, samples) in samples() {
        for (state, markup) in samples {
            lay_out(page, state, &markup);
            let text = markup.into_string();
            let at = format!("{page}, {state}");
            assert_eq!(text.matches("<h1").count(), 1, "{at}");
            let mut ids = BTreeSet::new();
            for part in text.split(" id=\"").skip(1) {
                let id = part.split('"').next().unwrap();
                assert!(ids.insert(id), "{at}: the id {id} is there twice");
            }
            for target in text.split(" for=\"").skip(1) {
                let target = target.split('"').next().unwrap();
                assert!(ids.contains(target), "{at}: a label is for {target}, which is not there");
            }
            for target in text.split(" href=\"#").skip(1) {
                let target = target.split('"').next().unwrap();
                assert!(ids.contains(target), "{at}: a link leads to {target}, which is not there");
            }
            for forbidden in [" style=", " onclick=", " onload=", "javascript:", "<script"] {
                assert!(!text.contains(forbidden), "{at}: {forbidden}");
            }
        }
    }
}

#[test]
fn what_people_write_never_becomes_a_part_of_a_page() {
    for (page, samples) in samples() {
        for (state, markup) in samples {
            let text = markup.into_string();
            assert!(!text.contains("<img"), "{page}, {state}");
            assert!(!text.contains("<script>"), "{page}, {state}");
        }
    }
}

#[test]
fn no_page_is_at_a_place_of_the_api_and_none_is_there_twice() {
    let mut known = BTreeSet::new();
    for entry in routes::table() {
        assert!(!entry.path.starts_with("/api"), "{}", entry.path);
        assert!(known.insert((entry.method.to_string(), entry.path)), "{}", entry.path);
    }
}
