//! What a story can tell, by the word after `do`. Each act is given as a person gives it, and decided as a command; what
//! a screen shows (digests, revisions, what stays as it is) is filled in from the state at that moment.

mod findings;
mod nouns;
mod planning;
mod running;
mod signing;

use chrono::{DateTime, NaiveDate, Utc};
use serde::de::DeserializeOwned;
use toml::Spanned;
use toml::de::DeValue;

use crate::codes::RunNumber;
use crate::commands::Stamp;
use crate::commands::digests::NoDigest;
use crate::document::{Path, TableReader};
use crate::entry::Draft;
use crate::record::Digest;
use crate::refusal::{Fault, Refusal};
use crate::state::State;

/// In front of whom and when an act is done.
pub(super) struct Scene<'a> {
    /// The programme as it stands.
    pub(super) state: &'a State,
    /// Who acts, and when.
    pub(super) stamp: &'a Stamp,
    /// The day of the act.
    pub(super) day: NaiveDate,
    /// From which moments are told.
    pub(super) now: DateTime<Utc>,
}

/// One act as a story gives it.
trait Given: DeserializeOwned {
    /// How many commands it stands for: one for each point, check or moment that it names.
    fn commands(&self) -> usize {
        1
    }

    /// Decides the command at a place.
    fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal>;
}

macro_rules! acts {
    ($($word:literal $module:ident $name:ident,)+) => {
        /// Anything that a story tells.
        #[derive(Debug, Clone)]
        pub(super) enum Deed {
            $($name(Box<$module::$name>),)+
        }

        impl Deed {
            /// Every word that can stand after `do`, besides `found`.
            pub(super) const WORDS: &'static [&'static str] = &[$($word),+];

            /// Reads what is given with an act; none where something is wrong with it, which is told.
            pub(super) fn read(
                word: &str,
                at: &Path,
                given: Spanned<DeValue<'_>>,
                faults: &mut Vec<Fault>,
            ) -> Option<Self> {
                let reader = TableReader::new(at, given);
                match word {
                    $($word => {
                        reader.read(faults, |_: &$module::$name, _| Vec::new())
                            .map(|given| Self::$name(Box::new(given)))
                    })+
                    _ => {
                        let words = Self::WORDS.join(", ");
                        let why = format!("\"{word}\" is nothing that can be done: use found, {words}");
                        faults.push(Fault::at(at.key("do").to_string(), why));
                        None
                    }
                }
            }

            /// How many commands it stands for.
            pub(super) fn commands(&self) -> usize {
                match self { $(Self::$name(given) => given.commands(),)+ }
            }

            /// Decides the command at a place.
            pub(super) fn decide(&self, place: usize, scene: &Scene<'_>) -> Result<Vec<Draft>, Refusal> {
                match self { $(Self::$name(given) => given.decide(place, scene),)+ }
            }
        }
    };
}

acts! {
    "approve-plan" signing ApprovePlan,
    "release" signing Release,
    "acknowledge" signing Acknowledge,
    "accept-result" signing AcceptResult,
    "refuse" signing Refuse,
    "withdraw" signing Withdraw,
    "plan-point" nouns PlanPoint,
    "drop-point" nouns DropPoint,
    "fit-item" nouns FitItem,
    "remove-item" nouns RemoveItem,
    "propose-limit" nouns ProposeLimit,
    "agree-limit" nouns AgreeLimit,
    "decline-limit" nouns DeclineLimit,
    "record-hazard" nouns RecordHazard,
    "accept-risk" nouns AcceptRisk,
    "file-document" nouns FileDocument,
    "list-person" nouns ListPerson,
    "report-check" findings ReportCheck,
    "report-event" findings ReportEvent,
    "open-run" running OpenRun,
    "note-moments" running NoteMoments,
    "read-energy" running ReadEnergy,
    "knock-off" running KnockOff,
    "close-run" running CloseRun,
    "correct-times" running CorrectTimes,
    "record-result" running RecordResult,
    "note-exceedance" findings NoteExceedance,
    "explain-exceedance" findings ExplainExceedance,
    "close-exceedance" findings CloseExceedance,
    "open-snag" findings OpenSnag,
    "work-snag" findings WorkSnag,
    "close-snag" findings CloseSnag,
    "assume-forecast" planning Assume,
    "make-forecast" planning Forecast,
    "plan-day" planning PlanDay,
    "replan-day" planning Replan,
    "note-lost-day" findings NoteLostDay,
    "observe-weather" findings ObserveWeather,
    "call-stand-down" findings CallStandDown,
    "lift-stand-down" findings LiftStandDown,
}

/// The digest on the person's screen. Where there is nothing to see the command says so itself, whatever the digest.
fn seen(digest: Option<Result<Digest, NoDigest>>) -> Digest {
    digest.and_then(Result::ok).unwrap_or_else(|| Digest::from_bytes([0; 32]))
}

impl Scene<'_> {
    /// The run that is named, or the one opened last.
    fn run(&self, named: Option<RunNumber>) -> RunNumber {
        let last = || u32::try_from(self.state.runs.len()).unwrap_or(u32::MAX);
        named.unwrap_or_else(|| RunNumber(last()))
    }

    /// A time of the act's day.
    fn on_the_day(&self, time: &super::words::TimeOfDay) -> DateTime<Utc> {
        super::words::at(self.day, time.0)
    }
}
