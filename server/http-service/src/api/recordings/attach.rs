//! Attaching a recording to a run, with all that it shows beyond limits, and setting it aside.

use actix_web::HttpRequest;
use evaluation::found::{Judgement, judge};
use evaluation::heating::heating;
use evaluation::judged::{JudgedLimit, Question};
use evaluation::run_recordings::{Facts, RunRecording, of_run};
use programme::codes::{LimitCode, RunNumber};
use programme::commands::{
    self, AttachRecording, Command, JudgedHeating, SetAsideRecording, SettingAsideTerms,
};
use programme::record::{Digest, HeatingComponent, HeatingOutcome};
use programme::refusal::Refusal;
use programme::state::{Amendable, State};
use recordings::columns::Columns;
use serde::{Deserialize, Serialize};
use store::Opened;

use super::view::{RecordingView, recording_view, shown};
use crate::access::{AttachRecordings, Permitted, Read};
use crate::api::exceedances::{ExceedanceView, exceedance_view};
use crate::columns::Source;
use crate::desk::{Answer, Errand, Outcome, Shown, Stop, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query, Sha256};
use crate::office::Office;
use crate::problem::Problem;

/// How often a recording is judged anew while limits or recordings change meanwhile.
const MOST_JUDGEMENTS: u32 = 4;

/// The code of a refusal for what changed while it was judged.
const CHANGED: &str = "limits-changed";

/// To which run a recording belongs.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AttachmentTerms {
    /// The run.
    #[schema(value_type = u32, minimum = 1)]
    pub run: RunNumber,
}

/// For which run a recording is judged.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct OfRun {
    /// The run.
    #[param(minimum = 1)]
    pub run: u32,
}

/// In which order components heated, as all recordings of a run show it together.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = JudgedHeating)]
pub struct HeatingView {
    /// Each component, in the order of the policy.
    pub components: Vec<HeatingComponent>,
    /// How it came out.
    pub outcome: HeatingOutcome,
    /// The limit that would be reached first; absent: none, or not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub first: Option<LimitCode>,
    /// The horizon of the policy, in minutes: components that would take longer are taken as never reaching their limits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub horizon_min: Option<u32>,
}

impl From<JudgedHeating> for HeatingView {
    fn from(judged: JudgedHeating) -> Self {
        let JudgedHeating { components, outcome, first, horizon_min } = judged;
        Self { components, outcome, first, horizon_min }
    }
}

/// What all recordings of a run say together, with one that may not be attached to it yet.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct JudgedRun {
    /// The run.
    pub run: RunNumber,
    /// The recordings that were judged.
    pub recordings: Vec<Digest>,
    /// Each limit that was in force for the run, by code.
    pub limits: Vec<JudgedLimit>,
    /// In which order components heated; absent where the policy has no order or the recordings say nothing of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub heating: Option<HeatingView>,
}

/// A recording that belongs to a run, and what it shows.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct AttachedRecording<'a> {
    /// The recording.
    pub recording: RecordingView<'a>,
    /// What all recordings of the run say together.
    pub judged: JudgedRun,
    /// Every exceedance that was told of this recording in this run, also before.
    pub exceedances: Vec<ExceedanceView<'a>>,
}

/// What a judgement rests on; where it is another by the time of the decision, the recording is judged anew.
#[derive(Debug, Clone, PartialEq)]
struct Basis {
    limits: Vec<(LimitCode, u64)>,
    order: Vec<(LimitCode, u64)>,
    horizon_min: Option<u32>,
    facts: Vec<Facts>,
}

/// What is to be judged.
struct Case {
    question: Question,
    basis: Basis,
}

impl Case {
    fn of(state: &State, run: RunNumber, recording: &Digest) -> Result<Self, Problem> {
        let known = state.run(run).ok_or_else(|| Problem::unknown("run", run))?;
        let question = Question::of(state, known);
        let revision = |it: &programme::state::LimitState| (it.limit.code.clone(), it.changed_at);
        let basis = Basis {
            limits: question.limits.iter().map(revision).collect(),
            order: question.heating_order.iter().map(revision).collect(),
            horizon_min: question.heating_horizon_min,
            facts: of_run(state, run, recording),
        };
        Ok(Self { question, basis })
    }
}

/// What came out.
struct Outcomes {
    judgement: Judgement,
    heating: Option<JudgedHeating>,
}

impl Office {
    /// Judges the recordings of a run where it may take its time.
    async fn judge(&self, case: Case, recording: &Digest) -> Result<Outcomes, Problem> {
        let mut files: Vec<(Facts, Opened)> = Vec::with_capacity(case.basis.facts.len());
        for facts in case.basis.facts {
            let file = self.store.objects().open_file(&facts.columns).await?;
            files.push((facts, file));
        }
        let (question, recording) = (case.question, recording.clone());
        let troubles = files.iter().map(|(_, file)| file.trouble()).collect();
        self.aside_on(troubles, move || {
            let recordings = files
                .into_iter()
                .map(|(facts, file)| {
                    Ok(RunRecording { facts, columns: Columns::open(Source(file))? })
                })
                .collect::<Result<Vec<_>, Problem>>()?;
            Ok(Outcomes {
                judgement: judge(&question, &recordings, &recording)?,
                heating: heating(&question, &recordings)?,
            })
        })
        .await
    }
}

fn told(run: RunNumber, facts: &[Facts], outcomes: Outcomes) -> (AttachParts, JudgedRun) {
    let Outcomes { judgement, heating } = outcomes;
    let parts = AttachParts { found: judgement.found, heating: heating.clone() };
    let judged = JudgedRun {
        run,
        recordings: facts.iter().map(|it| it.recording.clone()).collect(),
        limits: judgement.limits,
        heating: heating.map(HeatingView::from),
    };
    (parts, judged)
}

struct AttachParts {
    found: Vec<commands::FoundExceedance>,
    heating: Option<JudgedHeating>,
}

/// Attach a recording to the run that it is of.
///
/// All recordings of the run are held together against the limits that were in force for it, each time above a limit that
/// lasted for longer than its dwell becomes an exceedance, and the order of heating is judged, all with one decision. An open
/// exceedance holds the next rungs until an engineer explains it and the safety officer closes it. Asked again, the recording
/// is evaluated anew by the limits as they are, and only what was not told yet is added; so too after the offset of a clock
/// was confirmed. Where limits change meanwhile it is judged again.
#[utoipa::path(
    post, path = "",
    request_body(content = AttachmentTerms, example = json!({ "run": 3 })),
    responses((status = 200, description = "Attached.", body = Written<AttachedRecording>)),
)]
pub(crate) async fn attach(
    person: Permitted<AttachRecordings>,
    recording: At<Sha256>,
    given: Given<AttachmentTerms>,
    office: Office,
) -> Answer {
    let (recording, run) = (recording.0.0, given.body.run);
    let mut judgements = 0;
    if let Some(reply) = office.replayed(&person, &given.asked).await? {
        return Ok(reply);
    }
    loop {
        judgements += 1;
        let stamp = person.stamp(office.now());
        let bare = bare(&recording, run);
        let case = office
            .look(&person, None, |view| {
                bare.decide(view.state, &stamp)?;
                Case::of(view.state, run, &recording)
            })
            .await?;
        let basis = case.basis.clone();
        let (parts, judged) = told(run, &basis.facts, office.judge(case, &recording).await?);
        let AttachParts { found, heating } = parts;
        let command = AttachRecording { recording: recording.clone(), run, found, heating };
        let shown = recording.clone();
        let answer = Errand::new(person.programme.clone(), &stamp, given.asked.clone())
            .carry_out(
                &office,
                move |state| {
                    let now = Case::of(state, run, &command.recording).map_err(Stop::Problem)?;
                    if now.basis != basis {
                        return Err(Stop::Refusal(changed(run)));
                    }
                    commands::decide(state, &command, &stamp).map_err(Stop::Refusal)
                },
                move |view, _| attached(view.state, &shown, judged),
            )
            .await;
        match answer {
            Err(problem) if problem.code() == CHANGED && judgements < MOST_JUDGEMENTS => {}
            answer => return answer,
        }
    }
}

/// The command without what is found: it refuses what no evaluation could make right.
fn bare(recording: &Digest, run: RunNumber) -> AttachRecording {
    AttachRecording { recording: recording.clone(), run, found: Vec::new(), heating: None }
}

fn changed(run: RunNumber) -> Refusal {
    Refusal::NotNow {
        code: CHANGED,
        why: format!(
            "limits or recordings of run {run} were changed again and again while the recording was evaluated"
        ),
        clears: "Attach the recording again: it is evaluated by the limits as they are then."
            .to_owned(),
    }
}

fn attached(state: &State, recording: &Digest, judged: JudgedRun) -> Result<Outcome, Problem> {
    let of_it = |it: &&programme::state::Exceedance| {
        let found = it.found.as_ref();
        it.run == judged.run && found.is_some_and(|found| found.recording == *recording)
    };
    let exceedances = state.exceedances.iter().filter(of_it);
    let exceedances = exceedances.map(|it| exceedance_view(state, it)).collect::<Result<_, _>>()?;
    let view =
        AttachedRecording { recording: recording_view(state, recording)?, judged, exceedances };
    let revision = state.revision(&Amendable::Recording(recording.clone()));
    Ok(Outcome::changed(Shown::at_revision(revision, &view)?))
}

/// What a recording says to the limits of a run, together with the run's other recordings. Nothing is recorded.
#[utoipa::path(
    get, path = "",
    params(OfRun),
    responses((status = 200, description = "How each limit lies.", body = JudgedRun)),
)]
pub(crate) async fn judged(
    person: Permitted<Read>,
    recording: At<Sha256>,
    run: Query<OfRun>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let judged = judged_for(&office, &person, &recording.0.0, RunNumber(run.run)).await?;
    Ok(Shown::tagged(&judged)?.reply(request.headers()))
}

/// What a recording says to the limits of a run, together with the run's other recordings.
pub(crate) async fn judged_for<P>(
    office: &Office,
    person: &Permitted<P>,
    recording: &Digest,
    run: RunNumber,
) -> Result<JudgedRun, Problem> {
    let stamp = person.stamp(office.now());
    let bare = bare(recording, run);
    let case = office
        .look(person, None, |view| {
            bare.decide(view.state, &stamp)?;
            Case::of(view.state, run, recording)
        })
        .await?;
    let facts = case.basis.facts.clone();
    let (_, judged) = told(run, &facts, office.judge(case, recording).await?);
    Ok(judged)
}

/// Set a recording aside, such as one of another aircraft: it counts for nothing from then on, and what was filled from it
/// does not stand. What it showed beyond limits stays open. Taken in once more it counts again.
#[utoipa::path(
    post, path = "",
    request_body(content = SettingAsideTerms, example = json!({
        "reason": "The file is of the other tug: its logger was plugged in by mistake.",
    })),
    params(Amends),
    responses((status = 200, description = "Set aside.", body = Written<RecordingView>)),
)]
pub(crate) async fn set_aside(
    person: Permitted<AttachRecordings>,
    recording: At<Sha256>,
    precondition: Precondition,
    given: Given<SettingAsideTerms>,
    office: Office,
) -> Answer {
    let recording = recording.0.0;
    let thing = Amendable::Recording(recording.clone());
    let named = recording.clone();
    let command = given.map(|terms| SetAsideRecording { recording: named, terms, expected: None });
    office
        .amend(&person, (precondition, thing), command, move |view, _, _| {
            Ok(Outcome::changed(shown(view.state, &recording)?))
        })
        .await
}
