//! Signing a part of a point's step, refusing to sign it, and taking either back. Results are accepted here too.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use parking_lot::Mutex;
use programme::card::Difference;
use programme::codes::{PersonHandle, PointCode, RunNumber};
use programme::commands::{
    self, AcceptResult, Acceptance, AcceptanceTerms, AcknowledgeCard, AcknowledgementTerms,
    ApprovalTerms, ApprovePlan, Command, RefusalTerms, RefusePart, ReleasePoint, ReleaseTerms,
    Stamp, WithdrawPart, WithdrawalTerms,
};
use programme::entry::{Draft, Entry};
use programme::holds::{Hold, holds};
use programme::people::Act;
use programme::record::{Digest, Part, Record};
use programme::refusal::Refusal;
use programme::state::State;
use serde::{Deserialize, Serialize};

use super::points::PointState;
use crate::access::{Permitted, Read};
use crate::description::SignedBody;
use crate::desk::{Answer, Errand, Outcome, Shown, Stop, View, Written};
use crate::given::{At, Given, Signed};
use crate::office::Office;
use crate::problem::{FAULT, Problem};

/// A part of a point's step that one person signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PartName {
    /// The plan of the point is right; somebody other than its author.
    PlanApproval,
    /// The point may be run; the safety officer.
    Release,
    /// The card was read and will be flown as released; a pilot.
    Acknowledgement,
    /// The result stands, as an engineer sees it.
    EngineeringAcceptance,
    /// The result stands, as the safety officer sees it.
    SafetyAcceptance,
}

impl From<Part> for PartName {
    fn from(part: Part) -> Self {
        match part {
            Part::PlanApproval {} => PartName::PlanApproval,
            Part::Release {} => PartName::Release,
            Part::Acknowledgement {} => PartName::Acknowledgement,
            Part::EngineeringAcceptance { .. } => PartName::EngineeringAcceptance,
            Part::SafetyAcceptance { .. } => PartName::SafetyAcceptance,
        }
    }
}

impl PartName {
    /// Every part, in the order of the step.
    pub const ALL: [PartName; 5] = [
        PartName::PlanApproval,
        PartName::Release,
        PartName::Acknowledgement,
        PartName::EngineeringAcceptance,
        PartName::SafetyAcceptance,
    ];

    /// What it takes to sign it.
    pub const fn act(self) -> Act {
        match self {
            PartName::PlanApproval => Act::ApprovePlans,
            PartName::Release => Act::ReleasePoints,
            PartName::Acknowledgement => Act::AcknowledgeCards,
            PartName::EngineeringAcceptance => Act::AcceptAsEngineer,
            PartName::SafetyAcceptance => Act::AcceptAsSafety,
        }
    }
}

/// What somebody signs. Every digest is one that `to_sign` of the point tells.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(tag = "part", rename_all = "kebab-case", deny_unknown_fields)]
pub enum SignOff {
    /// The plan of the point is right. Somebody other than its author.
    PlanApproval {
        /// Of the card without configuration, as you saw it.
        digest: Digest,
    },
    /// The point may be run. The safety officer, and nobody in their place.
    Release {
        /// Of the card with what is fitted, as you saw it.
        digest: Digest,
        /// Good from then on; absent: from now.
        #[serde(default)]
        valid_from: Option<DateTime<Utc>>,
        /// Good up to, not including, this moment; at most as long as the policy allows.
        valid_until: DateTime<Utc>,
        /// Under these conditions besides the plan's.
        #[serde(default)]
        #[schema(max_length = 20000)]
        conditions: Option<String>,
    },
    /// The card was read and will be flown as released. A pilot.
    Acknowledgement {
        /// Of the card and its release, as you saw them.
        digest: Digest,
    },
    /// The result stands, as an engineer sees it.
    EngineeringAcceptance {
        /// Of which run.
        run: RunNumber,
        /// Of the result with its verdict and exceedances, as you saw it.
        digest: Digest,
    },
    /// The result stands, as the safety officer sees it.
    SafetyAcceptance {
        /// Of which run.
        run: RunNumber,
        /// Of the result with its verdict and exceedances, as you saw it.
        digest: Digest,
    },
}

macro_rules! parts_with {
    ($(#[$note:meta])* $name:ident $(#[$field_note:meta])* $field:ident) => {
        $(#[$note])*
        #[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
        #[serde(tag = "part", rename_all = "kebab-case", deny_unknown_fields)]
        pub enum $name {
            /// The approval of the plan.
            PlanApproval {
                $(#[$field_note])*
                $field: String,
            },
            /// The release.
            Release {
                $(#[$field_note])*
                $field: String,
            },
            /// The acknowledgement of the card.
            Acknowledgement {
                $(#[$field_note])*
                $field: String,
            },
            /// The acceptance of a result by an engineer.
            EngineeringAcceptance {
                /// Of which run.
                run: RunNumber,
                $(#[$field_note])*
                $field: String,
            },
            /// The acceptance of a result by the safety officer.
            SafetyAcceptance {
                /// Of which run.
                run: RunNumber,
                $(#[$field_note])*
                $field: String,
            },
        }

        impl $name {
            fn parted(self) -> (Part, String) {
                match self {
                    $name::PlanApproval { $field } => (Part::PlanApproval {}, $field),
                    $name::Release { $field } => (Part::Release {}, $field),
                    $name::Acknowledgement { $field } => (Part::Acknowledgement {}, $field),
                    $name::EngineeringAcceptance { run, $field } => {
                        (Part::EngineeringAcceptance { run }, $field)
                    }
                    $name::SafetyAcceptance { run, $field } => {
                        (Part::SafetyAcceptance { run }, $field)
                    }
                }
            }
        }
    };
}

parts_with! {
    /// What somebody refuses to sign, and why.
    RefuseSigning
    /// Why not.
    #[schema(min_length = 1, max_length = 20000)]
    reasons
}

parts_with! {
    /// Which signature or refusal of theirs somebody takes back, and why.
    WithdrawSigning
    /// Why.
    #[schema(min_length = 1, max_length = 20000)]
    reason
}

/// A signature that was given, and where the point stands with it.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct SignedOff {
    /// The point.
    pub point: PointCode,
    /// Which part.
    pub part: PartName,
    /// Of the result of which run, where it is an acceptance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<RunNumber>,
    /// The digest that the signature binds; of a release, that of the card with the window.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub digest: Option<Digest>,
    /// Whether you had signed a part of this point before.
    pub signed_before: bool,
    /// Where the card differs from the one that you had last signed.
    pub changed_since: Vec<Difference>,
    /// Where the point stands now.
    pub state: PointState,
    /// Every hold on it now.
    pub holds: Vec<Hold>,
}

/// A refusal that was recorded, or what was taken back, and where the point stands with it.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct NotSigned {
    /// The point.
    pub point: PointCode,
    /// Which part.
    pub part: PartName,
    /// Of the result of which run, where it is an acceptance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<RunNumber>,
    /// Where the point stands now.
    pub state: PointState,
    /// Every hold on it now.
    pub holds: Vec<Hold>,
}

/// Asks for one part of a point's step to be signed.
struct SignPart(Box<dyn Command + Send>);

impl SignPart {
    fn of(point: PointCode, sign_off: SignOff) -> Self {
        let accept = |point, run, acceptance, digest| {
            Box::new(AcceptResult { run, point, acceptance, terms: AcceptanceTerms { digest } })
        };
        Self(match sign_off {
            SignOff::PlanApproval { digest } => {
                Box::new(ApprovePlan { point, terms: ApprovalTerms { digest } })
            }
            SignOff::Release { digest, valid_from, valid_until, conditions } => {
                let terms = ReleaseTerms { digest, valid_from, valid_until, conditions };
                Box::new(ReleasePoint { point, terms })
            }
            SignOff::Acknowledgement { digest } => {
                Box::new(AcknowledgeCard { point, terms: AcknowledgementTerms { digest } })
            }
            SignOff::EngineeringAcceptance { run, digest } => {
                accept(point, run, Acceptance::Engineering, digest)
            }
            SignOff::SafetyAcceptance { run, digest } => {
                accept(point, run, Acceptance::Safety, digest)
            }
        })
    }
}

impl Command for SignPart {
    fn act(&self) -> Act {
        self.0.act()
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        self.0.decide(state, stamp)
    }
}

/// The card that somebody last signed, held against the one that they sign now.
#[derive(Debug, Default)]
struct Seen {
    signed_before: bool,
    changed_since: Vec<Difference>,
}

impl Seen {
    fn of(state: &State, point: &PointCode, person: &PersonHandle) -> Self {
        let Some(rung) = state.rung(point) else { return Self::default() };
        let Some(before) = rung.last_signed.get(person) else { return Self::default() };
        // A card whose differences cannot be told has no digest either, so that nobody signs it.
        let changed_since = before.differences(&state.card(rung, true)).unwrap_or_default();
        Self { signed_before: true, changed_since }
    }
}

/// Sign a part of a point's step: the plan's approval, the release, the acknowledgement, or an acceptance of a result.
///
/// You give the digest of what you saw, as `to_sign` of the point tells it, and your password or PIN again. A signature
/// binds exactly that; what changed meanwhile is refused with `card-changed`. Nobody signs two parts of one step. The
/// reply tells what changed since you last signed this point.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<SignOff>,
        example = json!({
            "part": "release",
            "digest": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
            "valid_until": "2026-05-02T18:00:00Z",
            "conditions": "Fire watch manned.",
            "secret": "271845",
        }),
    ),
    responses((status = 201, description = "Signed; Location is the record in the ledger.", body = Written<SignedOff>)),
)]
pub(crate) async fn sign(
    person: Permitted<Read>,
    point: At<PointCode>,
    signed: Signed<SignOff>,
    office: Office,
) -> Answer {
    let Signed { body, secret, asked } = signed;
    let code = point.0;
    let command = SignPart::of(code.clone(), body);
    // Whoever may not sign is told so before they are asked who they are.
    permitted(&office, &person, command.act())?;
    office.confirm(&person.person, secret).await?;
    let stamp = person.stamp(office.now());
    let records = format!("/api/v1/programmes/{}/ledger/records", person.programme);
    let seen: Arc<Mutex<Seen>> = Arc::default();
    let (note, of) = (Arc::clone(&seen), code.clone());
    Errand::new(person.programme, &stamp, asked)
        .carry_out(
            &office,
            move |state| {
                *note.lock() = Seen::of(state, &of, &stamp.by);
                commands::decide(state, &command, &stamp).map_err(Stop::Refusal)
            },
            move |view, entries| {
                let Seen { signed_before, changed_since } = std::mem::take(&mut *seen.lock());
                let (part, digest, seq) = signature(entries)?;
                let (state, holds) = standing(view, &code)?;
                let shown = Shown::new(&SignedOff {
                    point: code,
                    part: part.into(),
                    run: part.run(),
                    digest: Some(digest),
                    signed_before,
                    changed_since,
                    state,
                    holds,
                })?;
                Ok(Outcome::created(format!("{records}/{seq}"), shown))
            },
        )
        .await
}

/// Refuse to sign a part, with the reasons. A refusal is a record too, and holds the point until it is withdrawn or the
/// part is signed.
///
/// It asks for no password, so that nothing stands in the way of saying no.
#[utoipa::path(
    post, path = "",
    request_body(
        content = RefuseSigning,
        example = json!({ "part": "release", "reasons": "The isolation reading of this morning is not explained." }),
    ),
    responses((status = 201, description = "Recorded; Location is the record in the ledger.", body = Written<NotSigned>)),
)]
pub(crate) async fn refuse(
    person: Permitted<Read>,
    point: At<PointCode>,
    given: Given<RefuseSigning>,
    office: Office,
) -> Answer {
    let code = point.0;
    let (part, reasons) = given.body.clone().parted();
    let terms = RefusalTerms { reasons };
    let command = given.map(|_| RefusePart { point: code.clone(), part, terms });
    let records = format!("/api/v1/programmes/{}/ledger/records", person.programme);
    office
        .act(&person, command, move |view, entries| {
            not_signed(view, entries, &code, part, &records)
        })
        .await
}

/// Take back your own signature, or your own refusal to sign, with the reason.
///
/// It asks for your password or PIN again, since taking a refusal back can open a rung.
#[utoipa::path(
    post, path = "",
    request_body(
        content = SignedBody<WithdrawSigning>,
        example = json!({ "part": "release", "reason": "The wind has turned.", "secret": "271845" }),
    ),
    responses((status = 201, description = "Taken back; Location is the record in the ledger.", body = Written<NotSigned>)),
)]
pub(crate) async fn withdraw(
    person: Permitted<Read>,
    point: At<PointCode>,
    signed: Signed<WithdrawSigning>,
    office: Office,
) -> Answer {
    let code = point.0;
    let (part, reason) = signed.body.clone().parted();
    let terms = WithdrawalTerms { reason };
    permitted(&office, &person, PartName::from(part).act())?;
    let command = signed.map(|_| WithdrawPart { point: code.clone(), part, terms });
    let records = format!("/api/v1/programmes/{}/ledger/records", person.programme);
    office
        .sign(&person, command, move |view, entries| {
            not_signed(view, entries, &code, part, &records)
        })
        .await
}

fn permitted(office: &Office, person: &Permitted<Read>, act: Act) -> Result<(), Problem> {
    let allowed = office
        .store
        .read(&person.programme, |state, _| act.is_allowed_to(state.roles(&person.person)));
    if allowed == Some(true) {
        return Ok(());
    }
    Err(Refusal::NotPermitted { person: person.person.clone(), act }.into())
}

fn standing(view: View<'_>, point: &PointCode) -> Result<(PointState, Vec<Hold>), Problem> {
    let rung = super::points::rung(view.state, point)?;
    let holds = holds(view.state, rung, view.now);
    let stages = holds.iter().map(|hold| (hold.rule, hold.stage));
    Ok((PointState::of(view.state, rung, stages), holds))
}

/// The signature among the records of an act, with its number.
fn signature(entries: &[Entry]) -> Result<(Part, Digest, u64), Problem> {
    let found = entries.iter().find_map(|entry| match &entry.record {
        Record::PartSigned(body) => Some((body.part, body.digest.clone(), entry.seq)),
        _ => None,
    });
    found.ok_or_else(|| Problem::new(FAULT, "The signature was recorded and cannot be shown."))
}

fn not_signed(
    view: View<'_>,
    entries: &[Entry],
    point: &PointCode,
    part: Part,
    records: &str,
) -> Result<Outcome, Problem> {
    let (state, holds) = standing(view, point)?;
    let shown = Shown::new(&NotSigned {
        point: point.clone(),
        part: part.into(),
        run: part.run(),
        state,
        holds,
    })?;
    let seq = entries.first().map_or(0, |entry| entry.seq);
    Ok(Outcome::created(format!("{records}/{seq}"), shown))
}
