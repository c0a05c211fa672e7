//! Two thousand races over one step: whoever signs at the same moment as another, or as themselves, never gets both.
//!
//! They are run on the store, as the handlers hand acts to it, each act on a thread of its own: what a request has around it
//! would only keep the two further apart, and each signature over HTTP takes a hash of a password.

use std::sync::Barrier;

use programme::codes::{PointCode, ProgrammeId, RunNumber};
use programme::commands::{
    self, AcceptResult, Acceptance, AcceptanceTerms, ApprovalTerms, ApprovePlan, Command,
    PlanPoint, RecordResult, ReleasePoint, ReleaseTerms, ResultTerms, Stamp, TypedValue,
    WithdrawPart, WithdrawalTerms, digests,
};
use programme::record::{Digest, Part};
use programme::refusal::Refusal;
use programme::state::{ResultState, Rung, State};
use store::{Act, ActError, Reply};

use super::*;

fn bench() -> ProgrammeId {
    ProgrammeId::new("bench").unwrap()
}

fn point() -> PointCode {
    PointCode::new("G-1").unwrap()
}

fn rung(state: &State) -> &Rung {
    state.rung(&point()).unwrap()
}

fn result(state: &State) -> &ResultState {
    state.result(run(), &point()).unwrap().1
}

fn run() -> RunNumber {
    RunNumber(1)
}

/// One that asks, and what for.
type Asked = (
    &'static str,
    Box<dyn FnOnce(&State, &Stamp) -> Result<Vec<programme::entry::Draft>, Refusal> + Send>,
);

fn asks(who: &'static str, command: impl Command + Send + 'static) -> Asked {
    (who, Box::new(move |state, stamp| commands::decide(state, &command, stamp)))
}

/// The bench with a point whose run was closed, and more people: ed is an engineer too, sid a safety officer too, and eve is
/// engineer and safety officer at once.
struct Track {
    bench: Bench,
}

impl Track {
    async fn laid() -> Self {
        let bench = Bench::new().await;
        for (handle, roles) in [
            ("eve", json!(["engineer", "safety"])),
            ("ed", json!(["engineer"])),
            ("sid", json!(["safety"])),
        ] {
            let person = json!({ "handle": handle, "name": handle, "roles": roles });
            let path = format!("/people/{handle}");
            let listed = bench.put("sam", &path, &path, person).await;
            assert!(listed.status.is_success(), "{listed:?}");
        }
        let track = Self { bench };
        track.bench.clear("G-1").await;
        track.bench.run(&["G-1"], 10).await;
        track
    }

    fn look<T>(&self, look: impl FnOnce(&State) -> T) -> T {
        self.bench.house.store.read(&bench(), |state, _| look(state)).unwrap()
    }

    fn act(&self, (who, decides): Asked) -> Result<u64, ActError> {
        let stamp =
            Stamp { by: PersonHandle::new(who).unwrap(), now: *self.bench.house.now.lock() };
        let act = Act {
            programme: bench(),
            by: stamp.by.clone(),
            at: stamp.now,
            idempotency: None,
            decide: Box::new(move |state| decides(state, &stamp)),
            reply: Box::new(|_, _| Reply { status: 200, body: Vec::new(), headers: Vec::new() }),
        };
        let runtime = actix_web::rt::Runtime::new().unwrap();
        Ok(runtime.block_on(self.bench.house.store.act(act))?.entries[0].seq)
    }

    /// Does something that is allowed.
    #[track_caller]
    fn does(&self, asked: Asked) {
        std::thread::scope(|scope| scope.spawn(|| self.act(asked).unwrap()).join()).unwrap();
    }

    /// Both at the same moment; the number of the record of each that was done.
    fn race(&self, one: Asked, other: Asked) -> [Option<u64>; 2] {
        let start = Barrier::new(2);
        std::thread::scope(|scope| {
            [one, other]
                .map(|asked| {
                    scope.spawn(|| {
                        start.wait();
                        match self.act(asked) {
                            Ok(seq) => Some(seq),
                            Err(ActError::Refused(_)) => None,
                            Err(error) => panic!("{error}"),
                        }
                    })
                })
                .map(|racing| racing.join().unwrap())
        })
    }

    /// A result as nobody has seen it yet, so that its step begins anew.
    fn new_result(&self, round: usize) -> Digest {
        let values = serde_json::from_value::<Vec<TypedValue>>(json!([
            { "parameter": "winding", "statistic": "max", "value": 60.0, "unit": "degC" },
        ]));
        let terms = ResultTerms {
            values: values.unwrap(),
            reached: Default::default(),
            observations: format!("Round {round}."),
            observed_at: None,
        };
        let (run, point) = (run(), point());
        self.does(asks(
            "lou",
            RecordResult { run, point, terms, recorded: Vec::new(), expected: None },
        ));
        self.look(|state| digests::acceptance(state, result(state)).unwrap())
    }

    /// A plan that nobody has signed yet.
    fn new_plan(&self, round: usize) -> (Digest, Digest) {
        let mut point = self.look(|state| programme::nouns::Point::clone(&rung(state).point));
        point.title = format!("Turn of round {round}");
        self.does(asks("lou", PlanPoint { point, expected: None }));
        self.look(|state| {
            (digests::plan(state, rung(state)).unwrap(), digests::card(state, rung(state)).unwrap())
        })
    }
}

fn accepts(acceptance: Acceptance, digest: &Digest) -> AcceptResult {
    let terms = AcceptanceTerms { digest: digest.clone() };
    AcceptResult { run: run(), point: point(), acceptance, terms }
}

fn approves(digest: &Digest) -> ApprovePlan {
    ApprovePlan { point: point(), terms: ApprovalTerms { digest: digest.clone() } }
}

/// How often each of two came first.
#[derive(Debug, Default)]
struct Firsts([usize; 2]);

impl Firsts {
    /// Counts a race that exactly one has won.
    #[track_caller]
    fn one_of(&mut self, done: [Option<u64>; 2]) {
        let won = done.iter().position(Option::is_some);
        assert!(done.iter().flatten().count() == 1, "both or neither: {done:?}");
        self.0[won.unwrap()] += 1;
    }

    fn were_real_races(&self) {
        assert!(self.0.iter().all(|first| *first > 0), "one always came first: {self:?}");
    }
}

#[actix_web::test]
async fn in_two_thousand_races_nobody_gets_two_parts_of_a_step_and_nothing_is_both_accepted_and_withdrawn()
 {
    let track = Track::laid().await;
    // One person, both acceptances of one result.
    let mut firsts = Firsts::default();
    for round in 0..600 {
        let digest = track.new_result(round);
        firsts.one_of(track.race(
            asks("eve", accepts(Acceptance::Engineering, &digest)),
            asks("eve", accepts(Acceptance::Safety, &digest)),
        ));
        track.look(|state| {
            let result = result(state);
            assert!(result.engineering.is_some() != result.safety.is_some());
            assert_eq!(state.accepted_result(&point()), None);
        });
    }
    firsts.were_real_races();

    // Two people, the same part: what stands is one signature, and the one that came last.
    for round in 600..1000 {
        let digest = track.new_result(round);
        let done = track.race(
            asks("sam", accepts(Acceptance::Safety, &digest)),
            asks("sid", accepts(Acceptance::Safety, &digest)),
        );
        let last = if done[0] > done[1] { "sam" } else { "sid" };
        track.look(|state| {
            assert_eq!(result(state).safety.as_ref().unwrap().by.as_str(), last);
            assert_eq!(state.accepted_result(&point()), None);
        });
    }

    // An acceptance against the withdrawal of the other one.
    for round in 1000..1500 {
        let digest = track.new_result(round);
        track.does(asks("ed", accepts(Acceptance::Engineering, &digest)));
        let part = Part::EngineeringAcceptance { run: run() };
        let terms = WithdrawalTerms { reason: "A doubt.".to_owned() };
        let done = track.race(
            asks("sam", accepts(Acceptance::Safety, &digest)),
            asks("ed", WithdrawPart { point: point(), part, terms }),
        );
        assert!(done.iter().all(Option::is_some), "neither stands in the way of the other");
        track.look(|state| {
            assert!(result(state).engineering.is_none());
            assert_eq!(
                state.accepted_result(&point()),
                None,
                "a withdrawn signature does not count"
            );
        });
    }

    // One person, approval and release of one plan, of which each alone would be theirs to sign.
    let mut firsts = Firsts::default();
    for round in 1500..2000 {
        let (plan, card) = track.new_plan(round);
        track.does(asks("ed", approves(&plan)));
        let terms = ReleaseTerms {
            digest: card,
            valid_from: None,
            valid_until: *track.bench.house.now.lock() + TimeDelta::hours(1),
            conditions: None,
        };
        firsts.one_of(track.race(
            asks("eve", approves(&plan)),
            asks("eve", ReleasePoint { point: point(), terms }),
        ));
        track.look(|state| {
            let rung = rung(state);
            let approved = rung.approval.as_ref().is_some_and(|it| it.by.as_str() == "eve");
            let since = state.plan_changed_at(rung);
            let released = rung
                .release
                .as_ref()
                .is_some_and(|it| it.signature.by.as_str() == "eve" && it.signature.seq > since);
            assert!(approved != released);
        });
    }
    firsts.were_real_races();
}
