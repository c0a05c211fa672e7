//! Commands: what people ask for, and the decision about it. One file per kind of decision.
//!
//! A command looks at the state and gives the records to write, or refuses. It touches nothing.

mod accept_result;
mod accept_risk;
mod acknowledge_card;
mod acknowledge_copy;
mod agree_limit;
#[cfg(test)]
mod all_orders;
#[cfg(test)]
mod any_order;
mod approve_plan;
#[cfg(test)]
pub(crate) mod asked;
mod assume_forecast;
mod attach_recording;
mod call_stand_down;
mod close_exceedance;
mod close_run;
mod close_snag;
mod compare_clock;
mod confirm_clock;
mod correct_times;
mod crew;
mod decline_limit;
mod define_channel;
mod define_check;
mod describe_aircraft;
mod describe_recorder;
mod deviate;
pub mod digests;
mod drop_point;
mod explain_exceedance;
mod file_document;
mod fit_item;
mod given;
mod held;
mod judge_damping;
mod knock_off;
mod known;
mod lift_stand_down;
mod list_person;
mod make_forecast;
mod make_reduction;
mod measured;
mod moments;
mod narrow_repeat;
mod note_exceedance;
mod note_lost_day;
mod note_moment;
mod observe_weather;
mod open_run;
mod open_snag;
mod plan_point;
mod propose_day_plan;
mod propose_limit;
mod read_energy;
mod record_hazard;
mod record_result;
mod refuse_part;
mod release_point;
mod remove_item;
mod report_check;
mod report_event;
mod review_model;
mod set_aside_recording;
mod set_policy;
mod signed;
mod signing_view;
mod step;
mod take_interval;
mod take_recording;
mod times;
mod withdraw_part;
mod withdraw_proposal;
mod work_snag;

use chrono::{DateTime, Utc};

pub use accept_result::{AcceptResult, Acceptance, AcceptanceTerms};
pub use accept_risk::{AcceptRisk, RiskTerms};
pub use acknowledge_card::{AcknowledgeCard, AcknowledgementTerms};
pub use acknowledge_copy::{AcknowledgeCopy, CopyTerms, GoneOnFrom};
pub use agree_limit::{AgreeLimit, AgreementTerms};
pub use approve_plan::{ApprovalTerms, ApprovePlan};
pub use assume_forecast::AssumeForecast;
pub use attach_recording::{AttachRecording, FoundExceedance, JudgedHeating};
pub use call_stand_down::{CallStandDown, StandDownTerms};
pub use close_exceedance::{CloseExceedance, ExceedanceClosing};
pub use close_run::{CloseRun, ClosingTerms};
pub use close_snag::{CloseSnag, SnagClosing};
pub use compare_clock::{CompareClock, ComparedClock};
pub use confirm_clock::ConfirmClock;
pub use correct_times::{CorrectTimes, CorrectionTerms};
pub use decline_limit::{DeclineLimit, DecliningTerms};
pub use define_channel::DefineChannel;
pub use define_check::DefineCheck;
pub use describe_aircraft::DescribeAircraft;
pub use describe_recorder::DescribeRecorder;
pub use deviate::{
    AgreeDeviation, DeviationAgreementTerms, DeviationEndingTerms, DeviationTerms, EndDeviation,
    ProposeDeviation,
};
pub use drop_point::{DropPoint, DroppingTerms};
pub use explain_exceedance::{ExplainExceedance, ExplanationTerms};
pub use file_document::FileDocument;
pub use fit_item::{FitItem, FittingTerms};
pub use judge_damping::{DampingTerms, JudgeDamping};
pub use knock_off::{KnockOffRun, KnockOffTerms};
pub use lift_stand_down::{LiftStandDown, LiftingTerms};
pub use list_person::ListPerson;
pub(crate) use list_person::against_roles;
pub use make_forecast::{DrawnForecast, MakeForecast, TrialTerms, draw_forecast, grounds_of};
pub use make_reduction::MakeReduction;
pub use narrow_repeat::{NarrowRepeat, NarrowingTerms};
pub use note_exceedance::{ExceedanceTerms, NoteExceedance};
pub use note_lost_day::{LostDayTerms, NoteLostDay};
pub use note_moment::{MomentTerms, NoteMoment};
pub use observe_weather::{ObserveWeather, WeatherTerms};
pub use open_run::{OpenRun, RunTerms};
pub use open_snag::{OpenSnag, SnagTerms};
pub use plan_point::PlanPoint;
pub use propose_day_plan::{ProposeDayPlan, critical_of};
pub use propose_limit::{ProposalTerms, ProposeLimit};
pub use read_energy::{EnergyTerms, ReadEnergy};
pub use record_hazard::RecordHazard;
pub use record_result::{RecordResult, RecordedValue, ResultTerms, TypedValue};
pub use refuse_part::{RefusalTerms, RefusePart};
pub use release_point::{ReleasePoint, ReleaseTerms};
pub use remove_item::{RemovalTerms, RemoveItem};
pub use report_check::{CheckReport, ReportCheck};
pub use report_event::{EventReport, ReportEvent};
pub use review_model::{ReviewModel, ReviewTerms};
pub use set_aside_recording::{SetAsideRecording, SettingAsideTerms};
pub use set_policy::SetPolicy;
pub use signing_view::{PartView, SigningView, signing_view};
pub use take_interval::{FoundInterval, TakeInterval};
pub use take_recording::TakeRecording;
pub use withdraw_part::{WithdrawPart, WithdrawalTerms};
pub use withdraw_proposal::WithdrawProposal;
pub use work_snag::{WorkSnag, WorkTerms};

use crate::codes::PersonHandle;
use crate::entry::Draft;
use crate::people::Act;
use crate::refusal::Refusal;
use crate::state::State;

/// Who asks, and when.
#[derive(Debug, Clone)]
pub struct Stamp {
    /// Who.
    pub by: PersonHandle,
    /// When, by the server's clock.
    pub now: DateTime<Utc>,
}

/// Something that a person asks for.
pub trait Command {
    /// What it takes to be allowed to ask.
    fn act(&self) -> Act;

    /// Decides; writes nothing. Called after permission was checked.
    ///
    /// # Errors
    ///
    /// [`Refusal`], naming everything that stands against it.
    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal>;
}

/// Checks permission, then lets the command decide.
///
/// # Errors
///
/// [`Refusal::NotPermitted`], or what the command refuses.
pub fn decide(state: &State, command: &impl Command, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
    let act = command.act();
    if !act.is_allowed_to(state.roles(&stamp.by)) {
        return Err(Refusal::NotPermitted { person: stamp.by.clone(), act });
    }
    command.decide(state, stamp)
}
