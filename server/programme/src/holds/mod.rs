//! Holds: the reasons why a point may not go ahead now.
//!
//! Each source of holds is one file: its data, a function that collects it, its rules and its sentences. A new
//! source is such a file and its line in the table below.
//!
//! Reasons are data; a sentence is made from one only when it is shown.

mod words;

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::state::{Rung, State};

/// Which act a hold stands against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// The point can be neither released nor run.
    Release,
    /// The point can be released, and not run yet.
    Run,
}

/// What a hold is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, utoipa::ToSchema)]
pub struct Subject {
    /// What kind of thing: `point`, `check`, `item`, `hazard`, …
    pub what: &'static str,
    /// Its code, number or name.
    pub code: String,
}

impl Subject {
    fn new(what: &'static str, code: impl ToString) -> Self {
        Self { what, code: code.to_string() }
    }
}

/// One reason why a point may not go ahead now, in words for people.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, utoipa::ToSchema)]
pub struct Hold {
    /// A stable code of the rule, such as `prerequisite-not-accepted`.
    pub rule: &'static str,
    /// What it is about.
    pub subject: Subject,
    /// Why, in a sentence.
    pub why: String,
    /// What clears it, in a sentence.
    pub clears: String,
    /// Where the rule comes from.
    pub source: String,
    /// Which act it stands against.
    pub stage: Stage,
}

/// A rule that can hold a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Rule {
    /// Its stable code.
    pub code: &'static str,
    /// Which act it stands against.
    pub stage: Stage,
    /// What it asks for, in a sentence.
    pub meaning: &'static str,
}

impl Rule {
    const fn against_release(code: &'static str, meaning: &'static str) -> Self {
        Self { code, stage: Stage::Release, meaning }
    }

    const fn against_run(code: &'static str, meaning: &'static str) -> Self {
        Self { code, stage: Stage::Run, meaning }
    }
}

/// What the reasons of every source can say of themselves.
trait Explained {
    /// The rule that holds the point.
    fn rule(&self) -> &'static Rule;
    /// What it is about.
    fn subject(&self, rung: &Rung) -> Subject;
    /// Why, in a sentence.
    fn why(&self, rung: &Rung, state: &State) -> String;
    /// What clears it, in a sentence.
    fn clears(&self, rung: &Rung, state: &State) -> String;
    /// Where the rule comes from.
    fn source(&self, rung: &Rung, state: &State) -> String;
}

/// A source of holds.
#[derive(Clone, Copy)]
pub struct Source {
    /// What it is called.
    pub name: &'static str,
    /// Its rules.
    pub rules: &'static [&'static Rule],
    collect: fn(&Rung, &State, DateTime<Utc>, &mut Vec<Reason>),
    lasts: Lasts,
}

/// How long the reasons of a source are right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lasts {
    /// Until a record concerns the point: they follow from the point and its prerequisites alone.
    Kept,
    /// Until the next record, or until the weather becomes too old: they follow from predictions, which take long to work out.
    Predicted,
    /// They concern many points at once, and are looked up when they are read.
    Looked,
}

pub(crate) use crew::can_fill;
pub(crate) use prerequisites::{NotShown, Prerequisite};
pub(crate) use release::{Release as ReleaseFault, next_change as next_change_of_release};
pub(crate) use results::await_approval as results_await_approval;
pub(crate) use weather::{Weather as WeatherFault, against_minima};

pub use build_up::BuildUp;
pub use checks::{Fault as CheckFault, fault as check_fault};
pub use hazards::{Lacks as HazardLacks, lacks as hazard_lacks, roles_for as roles_for_risk};

macro_rules! sources {
    ($($(#[$note:meta])* $name:ident $module:ident $lasts:ident;)+) => {
        /// One reason why a point may not go ahead now, as data.
        #[derive(Debug, Clone, PartialEq)]
        pub enum Reason {
            $($(#[$note])* $name($module::$name),)+
        }

        /// Every source of holds, in the order in which their holds are told.
        pub static SOURCES: &[Source] = &[
            $(Source {
                name: stringify!($module),
                rules: $module::RULES,
                collect: $module::collect,
                lasts: Lasts::$lasts,
            },)+
        ];

        impl Reason {
            /// The source that it comes from, as a place in [`SOURCES`].
            pub fn source(&self) -> usize {
                /// In the order of the table, as are the sources.
                enum Place { $($name),+ }
                match self { $(Reason::$name(_) => Place::$name as usize,)+ }
            }

            fn explained(&self) -> &dyn Explained {
                match self { $(Reason::$name(reason) => reason,)+ }
            }
        }
    };
}

sources! {
    /// A stop called on the whole programme.
    StandDown stand_down Looked;
    /// The clock stands before what was recorded already.
    Clock clock Looked;
    /// The programme has not decided what it must decide.
    Policy policy Looked;
    /// The plan is not approved as it is now.
    Plan plan Kept;
    /// A point that comes before does not count.
    Prerequisite prerequisites Kept;
    /// A target goes too far beyond what was shown.
    BuildUp build_up Looked;
    /// A target lies outside of what was shown of two axes at once.
    Coupled coupled Looked;
    /// A target lies beyond what the aircraft is designed for.
    BeyondDesign design_boundary Looked;
    /// What is predicted passes what it must not.
    PredictedLimit predicted_limit Predicted;
    /// Less energy is predicted at landing than must be left.
    PredictedReserve predicted_reserve Predicted;
    /// A prediction that is demanded cannot be made.
    PredictionMissing prediction_missing Predicted;
    /// A model missed too often.
    ModelNeedsReview model_review Predicted;
    /// Nobody lets a step in speed go on as far as damping goes.
    DampingStep damping_step Looked;
    /// A result was not met or lacks something.
    BadResult results Kept;
    /// A value was beyond its limit.
    OpenExceedance exceedances Looked;
    /// Components heat in another order than they should.
    Heating heating Looked;
    /// The aircraft is not what the plan says.
    Configuration configuration Looked;
    /// Nobody knows whether something was harmed.
    Quarantined quarantine Looked;
    /// A hazard is not dealt with.
    Hazard hazards Looked;
    /// A check is not good.
    Check checks Looked;
    /// Something is defective.
    Snag snags Looked;
    /// A document does not cover the point.
    Document documents Looked;
    /// Somebody is missing, or too many are on board.
    Crew crew Looked;
    /// The weather is not what the point needs, or not known.
    Weather weather Looked;
    /// Somebody refused to sign.
    Refused refusals Kept;
    /// The point is not released, or the card not acknowledged.
    Release release Kept;
}

mod build_up;
mod checks;
mod clock;
mod configuration;
mod coupled;
mod crew;
mod damping_step;
mod design_boundary;
mod documents;
pub(crate) mod edge;
mod exceedances;
mod hazards;
mod heating;
mod model_review;
mod plan;
mod policy;
mod predicted_limit;
mod predicted_reserve;
mod prediction_missing;
mod prerequisites;
#[cfg(test)]
mod properties;
mod quarantine;
mod refusals;
mod release;
mod results;
mod snags;
mod stand_down;
mod weather;

impl Reason {
    /// The rule that holds the point.
    pub fn rule(&self) -> &'static Rule {
        self.explained().rule()
    }

    /// Which act it stands against.
    pub fn stage(&self) -> Stage {
        self.rule().stage
    }

    /// What it is about.
    pub fn subject(&self, rung: &Rung) -> Subject {
        self.explained().subject(rung)
    }

    /// The reason in words.
    pub fn told(&self, rung: &Rung, state: &State) -> Hold {
        let reason = self.explained();
        let rule = reason.rule();
        Hold {
            rule: rule.code,
            subject: reason.subject(rung),
            why: reason.why(rung, state),
            clears: reason.clears(rung, state),
            source: reason.source(rung, state),
            stage: rule.stage,
        }
    }
}

/// Every reason why a point may not go ahead at a moment, as data.
pub fn reasons(state: &State, rung: &Rung, now: DateTime<Utc>) -> Vec<Reason> {
    let mut found = Vec::new();
    for source in SOURCES {
        (source.collect)(rung, state, now, &mut found);
    }
    found
}

/// The reasons that last in one way, in the order in which they are told.
fn reasons_that(lasts: Lasts, state: &State, rung: &Rung, now: DateTime<Utc>) -> Vec<Reason> {
    let mut found = Vec::new();
    for source in SOURCES.iter().filter(|source| source.lasts == lasts) {
        (source.collect)(rung, state, now, &mut found);
    }
    found
}

/// The reasons that are kept until a record concerns the point.
pub(crate) fn kept_reasons(state: &State, rung: &Rung, now: DateTime<Utc>) -> Vec<Reason> {
    reasons_that(Lasts::Kept, state, rung, now)
}

/// The reasons that follow from predictions. They are the same at every moment at which as much is known of the weather, see
/// [`crate::prediction::observed_lately`].
pub(crate) fn predicted_reasons(state: &State, rung: &Rung, now: DateTime<Utc>) -> Vec<Reason> {
    reasons_that(Lasts::Predicted, state, rung, now)
}

/// As [`reasons`], with those given that are kept and those that are predicted.
pub(crate) fn reasons_beside(
    kept: &[Reason],
    predicted: &[Reason],
    state: &State,
    rung: &Rung,
    now: DateTime<Utc>,
) -> Vec<Reason> {
    let mut found = Vec::with_capacity(kept.len() + predicted.len());
    let mut kept = kept.iter().peekable();
    let mut predicted = predicted.iter().peekable();
    for (place, source) in SOURCES.iter().enumerate() {
        let given = match source.lasts {
            Lasts::Kept => &mut kept,
            Lasts::Predicted => &mut predicted,
            Lasts::Looked => {
                (source.collect)(rung, state, now, &mut found);
                continue;
            }
        };
        while let Some(reason) = given.next_if(|reason| reason.source() == place) {
            found.push(reason.clone());
        }
    }
    found
}

/// Every reason why a point may not go ahead at a moment, in words.
///
/// An empty list means that all stated conditions are met; it never means more than that.
pub fn holds(state: &State, rung: &Rung, now: DateTime<Utc>) -> Vec<Hold> {
    against(state, rung, now, Stage::Run)
}

/// The holds that stand against an act: against release only those of [`Stage::Release`], against a run all.
pub fn against(state: &State, rung: &Rung, now: DateTime<Utc>, stage: Stage) -> Vec<Hold> {
    reasons(state, rung, now)
        .iter()
        .filter(|reason| reason.stage() <= stage)
        .map(|reason| reason.told(rung, state))
        .collect()
}

/// Every rule that can hold a point, by source, in the order in which holds are told.
pub fn reference() -> impl Iterator<Item = (&'static str, &'static Rule)> {
    SOURCES.iter().flat_map(|source| source.rules.iter().map(|rule| (source.name, *rule)))
}
