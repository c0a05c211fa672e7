//! What the demonstration's people did with the files of their recorders: the engineer took each in and attached it to its
//! run, fitted how parts warmed, and explained what it shows beyond limits, and the safety officer closed that.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use http_service::{Clock, FileOf, IntervalOf, Service, Settings};
use programme::codes::{
    ChannelCode, ExceedanceNumber, PersonHandle, PointCode, ProgrammeId, RecorderCode, RunNumber,
};
use programme::commands::{
    self, CloseExceedance, ExceedanceClosing, ExplainExceedance, ExplanationTerms, Stamp, digests,
};
use programme::entry::Draft;
use programme::refusal::Refusal;
use programme::state::{Amendable, Exceedance, State};
use store::{Act, ActError, Reply, Store};

use super::simulation::{self, Warming};
use crate::commands::Failure;

/// Who takes the files in and explains what they show.
const ENGINEER: &str = "tomas";

/// The limit that a recording of a run long past shows to have been passed.
const OVER_TEMPERATURE: &str = "L-INVERTER";

/// The channels of the parts whose warming the engineer looks at.
const WARMING_PARTS: [&str; 3] = ["motor_winding_t_1", "inverter_t", "coolant_t_out"];

/// Which channels play which part in a thermal fit.
fn roles(part: &str) -> Result<BTreeMap<String, ChannelCode>, Failure> {
    let mut roles = BTreeMap::new();
    for (role, channel) in [("temperature", part), ("power", "motor_kw"), ("ambient", "oat")] {
        roles.insert(role.to_owned(), ChannelCode::new(channel)?);
    }
    Ok(roles)
}

/// Who closes what is explained.
const SAFETY_OFFICER: &str = "sofia";

/// Makes the files of the demonstration's recorders, takes them in and attaches them.
///
/// # Errors
///
/// [`Failure`] where a file or an act is refused, which would be a fault of the demonstration.
pub async fn take_in(
    store: &Store,
    programme: &ProgrammeId,
    now: DateTime<Utc>,
) -> Result<(), Failure> {
    let service =
        Service::new(store.clone(), Settings::default(), Clock::that(move || now)).await?;
    let engineer = PersonHandle::new(ENGINEER)?;
    for file in simulation::files(now)? {
        let refused = |problem| Failure::of_work(format!("rungbook: {}: {problem}", file.name));
        let of = FileOf {
            recorder: RecorderCode::new(file.recorder)?,
            name: file.name.clone(),
            began: None,
        };
        let taken = service.take_in(programme, &engineer, now, of, &file.bytes).await;
        let recording = taken.map_err(refused)?;
        let run = RunNumber(file.run);
        let attached = service.attach(programme, &engineer, recording.clone(), run);
        attached.await.map_err(refused)?;
        let Some(Warming { point, from, to }) = file.warming.clone() else { continue };
        let of = IntervalOf { recording, run, point: PointCode::new(&point)?, from, to };
        let taken = service.take_interval(programme, &engineer, of).await.map_err(refused)?;
        for part in WARMING_PARTS {
            let channels = roles(part)?;
            let made = service.reduce(programme, &engineer, taken, "thermal-fit", channels);
            made.await.map_err(refused)?;
        }
    }
    let shown: Vec<Exceedance> = store
        .read(programme, |state, _| {
            // What run 22 shows of the tie-down's vibration is still open, as in the story.
            let open = state.open_exceedances().filter(|it| it.found.is_some());
            let open = open.filter(|it| it.limit.as_str() == OVER_TEMPERATURE);
            open.cloned().collect()
        })
        .unwrap_or_default();
    let desk = Desk { store, programme, now };
    for exceedance in shown {
        desk.explain(&exceedance).await?;
        desk.close(exceedance.number).await?;
    }
    Ok(())
}

/// Why the inverter was too warm, as `seed/flights.toml` has it, and what was done about it.
const EXPLANATION: &str = "The blanking plate was still in the right cooling inlet. The reading went back within seconds of power back.";
const ACTION: &str = "Plate taken out and painted red; a line was added to the card.";

/// Where acts are recorded.
struct Desk<'a> {
    store: &'a Store,
    programme: &'a ProgrammeId,
    now: DateTime<Utc>,
}

impl Desk<'_> {
    async fn explain(&self, exceedance: &Exceedance) -> Result<(), Failure> {
        let number = exceedance.number;
        self.act(ENGINEER, move |state, stamp| {
            let command = ExplainExceedance {
                exceedance: number,
                terms: ExplanationTerms {
                    explanation: EXPLANATION.to_owned(),
                    action: ACTION.to_owned(),
                },
                expected: Some(state.revision(&Amendable::Exceedance(number))),
            };
            commands::decide(state, &command, stamp)
        })
        .await
    }

    async fn close(&self, number: ExceedanceNumber) -> Result<(), Failure> {
        let seen = self.store.read(self.programme, |state, _| {
            state.exceedance(number).and_then(|seen| digests::exceedance(seen).ok())
        });
        let Some(digest) = seen.flatten() else {
            return Err(Failure::of_work(format!(
                "rungbook: exceedance {number} cannot be signed"
            )));
        };
        self.act(SAFETY_OFFICER, move |state, stamp| {
            let terms = ExceedanceClosing { digest: digest.clone() };
            commands::decide(state, &CloseExceedance { exceedance: number, terms }, stamp)
        })
        .await
    }

    async fn act(
        &self,
        by: &str,
        decides: impl Fn(&State, &Stamp) -> Result<Vec<Draft>, Refusal> + Send + 'static,
    ) -> Result<(), Failure> {
        let stamp = Stamp { by: PersonHandle::new(by)?, now: self.now };
        let act = Act {
            programme: self.programme.clone(),
            by: stamp.by.clone(),
            at: stamp.now,
            idempotency: None,
            decide: Box::new(move |state| decides(state, &stamp)),
            reply: Box::new(|_, _| Reply { status: 200, body: Vec::new(), headers: Vec::new() }),
        };
        match self.store.act(act).await {
            Ok(_) => Ok(()),
            Err(ActError::Refused(refusal)) => {
                Err(Failure::of_work(format!("rungbook: the demonstration is at fault: {refusal}")))
            }
            Err(other) => Err(other.into()),
        }
    }
}
