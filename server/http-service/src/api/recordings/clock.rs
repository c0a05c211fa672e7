//! By how much a recorder's clock is ahead: an estimate, and what a person confirms of it.

use actix_web::HttpRequest;
use programme::codes::ChannelCode;
use programme::commands::{Command, ConfirmClock};
use programme::record::Digest;
use programme::refusal::Refusal;
use programme::state::Amendable;
use recordings::clock_offset::{ClockOffset, Confidence, NoOffset, clock_offset};
use recordings::columns::{Columns, Window};
use serde::{Deserialize, Serialize};

use super::view::{RecordingView, known, shown};
use crate::access::{ConfirmClocks, Permitted, Read};
use crate::columns::Source;
use crate::desk::{Answer, Outcome, Shown, Written};
use crate::entity_tag::{Amends, Precondition};
use crate::given::{At, Given, Query, Sha256};
use crate::office::Office;
use crate::problem::{INVALID, Problem};

/// How far clocks may be apart where nobody says more, in seconds.
const MOST_S: f64 = 120.0;

/// The farthest that is searched, in seconds: a day and its time zone.
const FARTHEST_S: f64 = 100_000.0;

/// What a clock is held against.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Comparison {
    /// The recording whose clock is taken as it is, by its SHA-256.
    #[param(value_type = String, pattern = "^[0-9a-f]{64}$")]
    pub against: Digest,
    /// The channel that both have.
    #[param(value_type = String, example = "pack_a")]
    pub channel: ChannelCode,
    /// How far the clocks may be apart, in seconds, at most 100000; absent: 120.
    #[param(maximum = 100_000.0, exclusive_minimum = 0.0)]
    pub most_s: Option<f64>,
}

/// Another offset at which the two agree nearly as well.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct OtherOffset {
    /// The offset, in seconds.
    pub offset_s: f64,
    /// The correlation there, as a share of the highest.
    pub share: f64,
}

/// By how much a recorder's clock seems to be ahead. It is a proposal, and is applied only when a person confirms it.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct ClockEstimate {
    /// How much this recording's clock is ahead of the other's, in seconds; negative: behind.
    pub offset_s: f64,
    /// How well both agree then, from -1 to 1.
    pub correlation: f64,
    /// The next best offset; absent where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub second: Option<OtherOffset>,
    /// Over how many seconds around it the correlation stays above nine tenths of its height: a broad peak is a poor clock.
    pub width_s: f64,
    /// How long the two overlap, without what is missing, in seconds.
    pub overlap_s: f64,
    /// The step at which they were compared, in seconds.
    pub step_s: f64,
    /// How far it can be trusted.
    #[schema(value_type = String, pattern = "^(clear|ambiguous|weak|at-the-edge)$")]
    pub confidence: Confidence,
    /// What it says, for people.
    pub sentence: String,
}

impl From<ClockOffset> for ClockEstimate {
    fn from(found: ClockOffset) -> Self {
        // What is added to this recording's moments is what its clock is behind.
        let offset_s = 0.0 - found.seconds;
        let second =
            found.second.map(|it| OtherOffset { offset_s: 0.0 - it.seconds, share: it.share });
        let sentence = sentence(offset_s, &found, second.as_ref());
        Self {
            offset_s,
            correlation: found.correlation,
            second,
            width_s: found.width_s,
            overlap_s: found.overlap_s,
            step_s: found.step_s,
            confidence: found.confidence,
            sentence,
        }
    }
}

fn sentence(offset_s: f64, found: &ClockOffset, second: Option<&OtherOffset>) -> String {
    let way = if offset_s < 0.0 { "behind" } else { "ahead of" };
    let said = format!(
        "The clock of this recording seems to be {:.2} s {way} the other one's: there the two agree with a correlation of {:.3} over {:.0} s.",
        offset_s.abs(),
        found.correlation,
        found.overlap_s,
    );
    let but = match found.confidence {
        Confidence::Clear => {
            "No other offset comes near. Look at both lines before you confirm it.".to_owned()
        }
        Confidence::Ambiguous => match second {
            Some(second) => format!(
                "At {:.2} s they agree nearly as well, so it is not certain. Compare another channel.",
                second.offset_s
            ),
            None => "Another offset is nearly as good. Compare another channel.".to_owned(),
        },
        Confidence::Weak => {
            "That is too little for a channel that both recorded. Compare another channel."
                .to_owned()
        }
        Confidence::AtTheEdge => {
            "That is where the search ended, so the true offset may lie outside. Search farther."
                .to_owned()
        }
    };
    format!("{said} {but}")
}

/// By how much the clock of a recording is ahead of another's, from a channel that both have. Nothing is recorded.
#[utoipa::path(
    get, path = "",
    params(Comparison),
    responses((status = 200, description = "The estimate.", body = ClockEstimate)),
)]
pub(crate) async fn clock_estimate(
    person: Permitted<Read>,
    recording: At<Sha256>,
    asked: Query<Comparison>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let found = estimated(&office, &person, &recording.0.0, &asked).await?;
    Ok(Shown::tagged(&found)?.reply(request.headers()))
}

/// By how much the clock of a recording seems to be ahead of another's.
pub(crate) async fn estimated<P>(
    office: &Office,
    person: &Permitted<P>,
    recording: &Digest,
    asked: &Comparison,
) -> Result<ClockEstimate, Problem> {
    let most_s = asked.most_s.unwrap_or(MOST_S);
    if !(most_s > 0.0 && most_s <= FARTHEST_S) {
        let why = format!("must be above 0 and at most {FARTHEST_S} s, and {most_s} was given");
        return Err(Problem::of_field(INVALID, "most_s", why));
    }
    let stamp = person.stamp(office.now());
    let command = ConfirmClock {
        recording: recording.clone(),
        against: asked.against.clone(),
        channel: asked.channel.clone(),
        offset_s: 0.0,
        correlation: 0.0,
        expected: None,
    };
    let [of_this, of_other] = office
        .look(person, None, |view| {
            match command.decide(view.state, &stamp) {
                // It may be that this is the offset already.
                Ok(_) | Err(Refusal::NotNow { code: "nothing-changes", .. }) => {}
                Err(refusal) => return Err(refusal.into()),
            }
            let columns = |of: &Digest| Ok::<_, Problem>(known(view.state, of)?.1.columns.clone());
            Ok([columns(&command.recording)?, columns(&command.against)?])
        })
        .await?;
    let this = office.store.objects().open_file(&of_this).await?;
    let other = office.store.objects().open_file(&of_other).await?;
    let channel = asked.channel.clone();
    let found = office
        .aside_on(vec![this.trouble(), other.trouble()], move || {
            let read = |file| {
                let columns = Columns::open(Source(file))?;
                let Some((from, to)) = columns.span() else { return Ok(Window::default()) };
                Ok::<_, Problem>(columns.read(&[channel.as_str()], from, to)?)
            };
            let (this, other) = (read(this)?, read(other)?);
            let (Some(this), Some(other)) = (this.series(0), other.series(0)) else {
                return Err(no_offset(&NoOffset::TooFewReadings));
            };
            clock_offset(other, this, most_s).map_err(|error| no_offset(&error))
        })
        .await?;
    Ok(ClockEstimate::from(found))
}

fn no_offset(error: &NoOffset) -> Problem {
    let field = match error {
        NoOffset::TooFewReadings | NoOffset::NothingToCompare { .. } => "channel",
        NoOffset::NoBound { .. } => "most_s",
    };
    Problem::of_field(INVALID, field, error.to_string())
}

/// By how much a recorder's clock is ahead, as a person saw it.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClockTerms {
    /// The recording whose clock is taken as it is.
    pub against: Digest,
    /// The channel that both have.
    pub channel: ChannelCode,
    /// How much this recording's clock is ahead, in seconds; negative: behind.
    pub offset_s: f64,
    /// How well both agree then, from -1 to 1.
    pub correlation: f64,
}

/// Confirm by how much a recorder's clock is ahead of another's, after looking at both lines.
///
/// From then on moments of the recording are shown by the other's clock. What was found in it keeps its moments by the
/// recorder's own clock. Attach it once more, so that what reads several recorders together is judged anew.
#[utoipa::path(
    post, path = "",
    request_body(content = ClockTerms, example = json!({
        "against": "3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b9a41",
        "channel": "pack_a", "offset_s": 4.7, "correlation": 0.98,
    })),
    params(Amends),
    responses((status = 200, description = "Confirmed.", body = Written<RecordingView>)),
)]
pub(crate) async fn confirm_clock(
    person: Permitted<ConfirmClocks>,
    recording: At<Sha256>,
    precondition: Precondition,
    given: Given<ClockTerms>,
    office: Office,
) -> Answer {
    let recording = recording.0.0;
    let thing = Amendable::Recording(recording.clone());
    let named = recording.clone();
    let command = given.map(|terms| {
        let ClockTerms { against, channel, offset_s, correlation } = terms;
        ConfirmClock { recording: named, against, channel, offset_s, correlation, expected: None }
    });
    office
        .amend(&person, (precondition, thing), command, move |view, _, _| {
            Ok(Outcome::changed(shown(view.state, &recording)?))
        })
        .await
}
