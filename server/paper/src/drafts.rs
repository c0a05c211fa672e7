//! Drafts of what a team owes its authority: filled in as far as the ledger goes, to be read, completed and signed by people.
//! No authority's form is imitated.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Utc};
use programme::in_words;
use programme::nouns::{Direction, RuleStart};
use programme::scope::Scope;
use programme::state::State;

use crate::evidence::{front, named};
use crate::manuscript::{Blocks, Manuscript, SignLine, column};
use crate::requirements::{self, Answers, requirements};
use crate::scope::Extent;
use crate::words::{NOT_RECORDED, phases};
use crate::{Trouble, parts};

/// Which draft.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Draft {
    /// What is going to be tested, where, by whom and in which order.
    FlightTestProgramme,
    /// Hazards, mitigations and accepted risk.
    RiskRegister,
    /// What is fitted, and within which limits it is operated.
    ConfigurationAndLimitations,
    /// What the tests came to: hours, areas and speeds.
    ClosingStatement,
    /// Lines for the aircraft's log.
    LogEntries,
}

impl Draft {
    /// Every draft.
    pub const ALL: [Draft; 5] = [
        Draft::FlightTestProgramme,
        Draft::RiskRegister,
        Draft::ConfigurationAndLimitations,
        Draft::ClosingStatement,
        Draft::LogEntries,
    ];

    /// The name in addresses.
    pub const fn as_str(self) -> &'static str {
        match self {
            Draft::FlightTestProgramme => "flight-test-programme",
            Draft::RiskRegister => "risk-register",
            Draft::ConfigurationAndLimitations => "configuration-and-limitations",
            Draft::ClosingStatement => "closing-statement",
            Draft::LogEntries => "log-entries",
        }
    }

    /// What it is called.
    pub const fn title(self) -> &'static str {
        match self {
            Draft::FlightTestProgramme => "Flight-test programme",
            Draft::RiskRegister => "Risk register",
            Draft::ConfigurationAndLimitations => "Configuration and limitations statement",
            Draft::ClosingStatement => "Closing statement",
            Draft::LogEntries => "Log entries",
        }
    }

    /// What it is for, in a sentence.
    pub const fn is_for(self) -> &'static str {
        match self {
            Draft::FlightTestProgramme => {
                "What is going to be tested, where, by whom, in which order and with which build-up; for the application and for everybody who takes part."
            }
            Draft::RiskRegister => {
                "Every hazard with its mitigation, the risk before and after, and who accepted what; for the people who answer for the tests."
            }
            Draft::ConfigurationAndLimitations => {
                "What is fitted, how it is loaded, and within which limits it is operated; beside the application for a permit, and after each change."
            }
            Draft::ClosingStatement => {
                "What the tests came to: hours, area, shown envelope, and stall, best-angle and best-rate speed with mass and centre of gravity; at the end of the tests."
            }
            Draft::LogEntries => {
                "A line for each counted run, with changes, checks and snags; to be taken over into the aircraft's log and signed there."
            }
        }
    }
}

impl fmt::Display for Draft {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// No draft has that name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("no draft has that name")]
pub struct UnknownDraft;

impl FromStr for Draft {
    type Err = UnknownDraft;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Draft::ALL.into_iter().find(|draft| draft.as_str() == text).ok_or(UnknownDraft)
    }
}

/// Writes a draft, as the state was at a moment. It is not set yet: see [`Manuscript::typeset`].
///
/// # Errors
///
/// [`Trouble`]; none is known today.
pub fn draft(which: Draft, state: &State, at: DateTime<Utc>) -> Result<Manuscript, Trouble> {
    let extent = Extent::of(state, Scope::Programme)?;
    let mut blocks = Blocks::default();
    let (signs, answers) = match which {
        Draft::FlightTestProgramme => flight_test_programme(&extent, &mut blocks),
        Draft::RiskRegister => risk_register(&extent, &mut blocks),
        Draft::ConfigurationAndLimitations => configuration(&extent, &mut blocks),
        Draft::ClosingStatement => closing(&extent, &mut blocks),
        Draft::LogEntries => log(&extent, &mut blocks),
    };
    requirements(answers, &mut blocks);
    blocks.chapter("Signatures");
    blocks.text(
        "Printed from the ledger as a draft. It becomes a statement only by the hand of the people below, after they have read, \
         completed and corrected it. Every \"not recorded\" is theirs to fill in or to leave as it is.",
    );
    blocks.signatures(signs.iter().cloned());
    let mut before = front(&extent, at);
    before.text(which.is_for());
    Ok(Manuscript {
        title: which.title().to_owned(),
        of: state.title.clone(),
        programme: named(state),
        draft: true,
        front: before,
        blocks,
    })
}

type Ending = (&'static [SignLine], &'static [Answers]);

const LEAD: SignLine = SignLine {
    role: "test lead",
    means: "I prepared this paper and it says what is meant to be done.",
};
const SAFETY: SignLine = SignLine {
    role: "safety officer",
    means: "I have read the hazards and what is done against them.",
};
const ENGINEER: SignLine =
    SignLine { role: "engineer", means: "Configuration, loading and limits are as stated." };
const PILOT: SignLine =
    SignLine { role: "test pilot", means: "I have read it, as far as it concerns what I fly." };
const INSPECTOR: SignLine = SignLine {
    role: "licensed inspector, where the authority wants one",
    means: "With licence or authorisation number.",
};

fn where_tested(extent: &Extent<'_>, out: &mut Blocks) {
    let airfield = extent.state.aircraft.as_ref().and_then(|it| it.airfield.clone());
    out.facts([
        ("Airfield", crate::words::known(airfield)),
        (
            "Flight-test area",
            format!("{NOT_RECORDED}: to be filled in as assigned by the authority"),
        ),
    ]);
}

fn build_up(extent: &Extent<'_>, out: &mut Blocks) {
    let state = extent.state;
    let rules = state.policy.as_ref().map_or(&[][..], |policy| policy.build_up.as_slice());
    out.table(
        [
            column("Axis", 1.0),
            column("Way", 0.7),
            column("From", 0.9),
            column("First at most", 0.9),
            column("Then at a time", 0.9),
            column("Phases", 1.1),
            column("Source", 2.4),
        ],
        rules.iter().map(|rule| {
            let way = match rule.direction {
                Direction::Up => "upwards",
                Direction::Down => "downwards",
            };
            let from = match rule.start(state.aircraft.as_ref()) {
                RuleStart::Always => "always".to_owned(),
                RuleStart::At(at) => at.to_string(),
                RuleStart::Unknown => "not known: the design figure is not recorded".to_owned(),
            };
            [
                in_words::axis(rule.axis).to_owned(),
                way.to_owned(),
                from,
                rule.first.to_string(),
                rule.step.to_string(),
                phases(&rule.phases),
                rule.source.clone(),
            ]
        }),
        "No rules of the build-up are recorded.",
    );
}

fn flight_test_programme(extent: &Extent<'_>, out: &mut Blocks) -> Ending {
    out.chapter("Aircraft");
    parts::aircraft(extent, out);
    out.chapter("Where it is tested");
    where_tested(extent, out);
    out.chapter("People and qualifications");
    parts::people(extent, out);
    out.chapter("Papers in force");
    parts::documents(extent, out);
    out.chapter("Build-up");
    out.text("No step is larger than these, counted from what accepted results have shown. Between steps people look at what the last one showed.");
    build_up(extent, out);
    out.chapter("Hours that are required");
    parts::hours(extent, out);
    out.chapter("Points, phase by phase");
    parts::ladder(extent, out);
    out.chapter("Cards");
    if extent.rungs.is_empty() {
        out.text("No points are recorded.");
    }
    for rung in extent.rungs.iter().filter(|rung| rung.dropped.is_none()) {
        parts::card(extent, rung, out);
    }
    (&[LEAD, ENGINEER, PILOT, SAFETY], requirements::FLIGHT_TEST_PROGRAMME)
}

fn risk_register(extent: &Extent<'_>, out: &mut Blocks) -> Ending {
    out.chapter("Hazards in one table");
    parts::hazards(extent, out);
    out.chapter("Hazards one by one");
    if extent.state.hazards.is_empty() {
        out.text("No hazards are recorded.");
    }
    parts::hazard_details(extent, out);
    out.chapter("Stand-downs so far");
    parts::stand_downs(extent, out);
    (&[LEAD, ENGINEER, SAFETY], requirements::RISK_REGISTER)
}

fn configuration(extent: &Extent<'_>, out: &mut Blocks) -> Ending {
    out.chapter("Aircraft");
    parts::aircraft(extent, out);
    parts::loading(extent, out);
    out.chapter("Items fitted");
    parts::configuration(extent, out);
    parts::configuration_changes(extent, out);
    out.chapter("Limits and their sources");
    parts::limits(extent, out);
    out.chapter("Shown envelope");
    parts::envelope(extent, out);
    out.chapter("Checks");
    parts::checks(extent, out);
    out.chapter("Papers in force");
    parts::documents(extent, out);
    out.chapter("Open snags");
    parts::open_snags(extent, out);
    (&[ENGINEER, SAFETY, INSPECTOR], requirements::CONFIGURATION)
}

fn closing(extent: &Extent<'_>, out: &mut Blocks) -> Ending {
    let state = extent.state;
    out.chapter("Aircraft");
    parts::aircraft(extent, out);
    out.chapter("Hours");
    parts::hours(extent, out);
    out.chapter("Area");
    where_tested(extent, out);
    out.chapter("Demonstrated speeds");
    parts::demonstrated(extent, out);
    out.chapter("Shown envelope");
    parts::envelope(extent, out);
    out.chapter("Results");
    parts::results(extent, out);
    out.chapter("Open matters");
    let in_plan = || extent.rungs.iter().filter(|rung| rung.dropped.is_none());
    let shown = in_plan().filter(|rung| state.accepted_result_of(rung).is_some()).count();
    out.facts([
        ("Points in the plan", in_plan().count().to_string()),
        ("Shown and accepted", shown.to_string()),
        ("Not shown", (in_plan().count() - shown).to_string()),
        ("Exceedances open", state.open_exceedances().count().to_string()),
        ("Snags open", state.open_snags().count().to_string()),
    ]);
    if in_plan().count() != shown {
        out.note("Not every point of the plan was shown. As the ledger stands, the tests are not complete.");
    }
    parts::open_snags(extent, out);
    out.chapter("Statements to be signed");
    out.text("To be struck out where they do not hold; the authority's own wording, where it asks for one, takes their place.");
    out.list([
        "The hours that were prescribed for the tests were completed, within the area that was assigned: ______ hours.",
        "The aircraft was controllable throughout the speeds and manoeuvres that it is meant for, as far as stated in this paper.",
        "No hazardous characteristics or features are known beyond those that the risk register names.",
        "Stall speed ______ at mass ______ and centre of gravity ______.",
        "Speed of best angle of climb ______ at mass ______ and centre of gravity ______.",
        "Speed of best rate of climb ______ at mass ______ and centre of gravity ______.",
    ]);
    (&[PILOT, LEAD, SAFETY, INSPECTOR], requirements::CLOSING)
}

fn log(extent: &Extent<'_>, out: &mut Blocks) -> Ending {
    out.chapter("Runs");
    parts::log(extent, out);
    out.chapter("Changes of the configuration");
    parts::configuration(extent, out);
    parts::configuration_changes(extent, out);
    out.chapter("Checks");
    parts::checks(extent, out);
    out.chapter("Snags");
    parts::all_snags(extent, out);
    (&[PILOT, ENGINEER, INSPECTOR], requirements::LOG)
}
