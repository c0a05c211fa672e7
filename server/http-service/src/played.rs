//! What the program does for a person by itself, without a request: how the demonstration takes in its recorder files and
//! reduces them. It goes through the same doors as a request.

use std::collections::BTreeMap;
use std::io::Write as _;

use chrono::{DateTime, Utc};
use programme::codes::{
    ChannelCode, IntervalNumber, PersonHandle, PointCode, ProgrammeId, RunNumber,
};
use programme::commands::Stamp;
use programme::record::Digest;
use store::Act;

use crate::Service;
use crate::access::Permitted;
use crate::api::intervals::{IntervalWay, NewInterval, take};
use crate::api::recordings::{AttachmentTerms, attach};
use crate::api::reductions::{NewReduction, make};
use crate::given::{At, Given, Sha256};
use crate::idempotency::Asked;
use crate::intake::FileOf;
use crate::office::Office;
use crate::problem::{FAULT, Problem};

impl Service {
    /// The office of a service that has one house.
    pub(crate) fn office(&self) -> Result<&Office, Problem> {
        self.houses.alone().ok_or_else(|| {
            Problem::new(FAULT, "A service of several organisations does nothing by itself.")
        })
    }

    /// Takes a recorder's file in for a person.
    ///
    /// # Errors
    ///
    /// [`Problem`], as a request would be told it; nothing was kept.
    pub async fn take_in(
        &self,
        programme: &ProgrammeId,
        by: &PersonHandle,
        at: DateTime<Utc>,
        file: FileOf,
        bytes: &[u8],
    ) -> Result<Digest, Problem> {
        let stamp = Stamp { by: by.clone(), now: at };
        let mut original = self.office()?.store.objects().begin()?;
        original.write_all(bytes).map_err(store::ObjectError::from)?;
        let digest = original.digest();
        let command = self.office()?.take_in(programme, &stamp, file, original).await?;
        let act = Act {
            programme: programme.clone(),
            by: by.clone(),
            at,
            idempotency: None,
            decide: Box::new(move |state| programme::commands::decide(state, &command, &stamp)),
            reply: Box::new(|_, _| store::Reply {
                status: 201,
                body: Vec::new(),
                headers: Vec::new(),
            }),
        };
        self.office()?.store.act(act).await?;
        Ok(digest)
    }

    /// Attaches a recording to a run for a person, with all that it shows.
    ///
    /// # Errors
    ///
    /// [`Problem`], as a request would be told it; nothing was recorded.
    pub async fn attach(
        &self,
        programme: &ProgrammeId,
        by: &PersonHandle,
        recording: Digest,
        run: RunNumber,
    ) -> Result<(), Problem> {
        let person = Permitted::for_person(by.clone(), programme.clone());
        let given = Given { body: AttachmentTerms { run }, asked: Asked::once() };
        let answer = attach(person, At(Sha256(recording)), given, self.office()?.clone()).await;
        answer.map(|_| ())
    }

    /// Takes an interval of an attached recording for a person, from one moment to another by the recorder's clock.
    ///
    /// # Errors
    ///
    /// [`Problem`], as a request would be told it; nothing was recorded.
    pub async fn take_interval(
        &self,
        programme: &ProgrammeId,
        by: &PersonHandle,
        of: IntervalOf,
    ) -> Result<IntervalNumber, Problem> {
        let IntervalOf { recording, run, point, from, to } = of;
        let how = IntervalWay::Times { from, to };
        let body = NewInterval { recording, run, point, how };
        let person = Permitted::for_person(by.clone(), programme.clone());
        take(person, Given { body, asked: Asked::once() }, self.office()?.clone()).await?;
        let last = self.office()?.store.read(programme, |state, _| {
            state.recordings.intervals.last().map(|interval| interval.number)
        });
        last.flatten()
            .ok_or_else(|| Problem::new(FAULT, "The interval was taken and cannot be shown."))
    }

    /// Reduces an interval by a method for a person.
    ///
    /// # Errors
    ///
    /// [`Problem`], as a request would be told it; nothing was recorded.
    pub async fn reduce(
        &self,
        programme: &ProgrammeId,
        by: &PersonHandle,
        interval: IntervalNumber,
        method: &str,
        channels: BTreeMap<String, ChannelCode>,
    ) -> Result<(), Problem> {
        let body = NewReduction {
            interval,
            method: method.to_owned(),
            channels,
            given: serde_json::json!({}),
            fills: BTreeMap::new(),
        };
        let person = Permitted::for_person(by.clone(), programme.clone());
        let given = Given { body, asked: Asked::once() };
        make(person, given, self.office()?.clone()).await.map(|_| ())
    }
}

/// Which part of a recording is taken, and for what.
#[derive(Debug, Clone)]
pub struct IntervalOf {
    /// The recording.
    pub recording: Digest,
    /// The run.
    pub run: RunNumber,
    /// The point of the run.
    pub point: PointCode,
    /// From then on.
    pub from: DateTime<Utc>,
    /// Up to and including then.
    pub to: DateTime<Utc>,
}
