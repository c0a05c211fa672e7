//! Programmes of the server: those in which one takes part, and new ones.

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use programme::codes::{PersonHandle, ProgrammeId};
use programme::commands::Stamp;
use programme::entry::Draft;
use programme::nouns::{Aircraft, Person, Policy, Role};
use programme::record::PersonListed;
use serde::{Deserialize, Serialize};

use crate::access::{Administrator, Permitted, Read, SignedIn};
use crate::desk::{Answer, Errand, Outcome, Shown, View, Written, answer};
use crate::given::{Given, Query};
use crate::office::Office;
use crate::page::OfMoment;
use crate::problem::{FaultView, INVALID, Problem};

/// A programme in which somebody takes part.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct OwnProgramme {
    /// Its id.
    pub id: ProgrammeId,
    /// What it is called.
    pub title: String,
    /// Your roles in it.
    pub roles: Vec<Role>,
    /// Whether a stand-down is in force.
    pub stand_down: bool,
}

/// The programmes in which somebody takes part.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct OwnProgrammes {
    /// By id.
    pub items: Vec<OwnProgramme>,
}

/// How many there are of each.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Counts {
    /// Points in the plan.
    pub points: usize,
    /// Points with an accepted result that stands.
    pub accepted_points: usize,
    /// Runs.
    pub runs: usize,
    /// Snags that are open.
    pub open_snags: usize,
    /// Exceedances that nobody has closed.
    pub open_exceedances: usize,
    /// Minutes under power, over all runs whose times are complete.
    pub powered_minutes: u32,
}

/// A programme.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = Programme)]
pub struct ProgrammeView<'a> {
    /// Its id.
    pub id: &'a ProgrammeId,
    /// What it is called.
    pub title: &'a str,
    /// The aircraft.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub aircraft: Option<&'a Aircraft>,
    /// What the programme has decided for itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub policy: Option<&'a Policy>,
    /// How many there are of each.
    pub counts: Counts,
    /// Whether a stand-down is in force.
    pub stand_down: bool,
    /// How many records its ledger has.
    pub records: u64,
}

/// Who begins with a programme.
#[derive(Debug, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FoundProgramme {
    /// Its id, which is kept for ever.
    #[schema(example = "glider-tug")]
    pub id: ProgrammeId,
    /// What it is called.
    #[schema(min_length = 1, max_length = 200, example = "Electric glider tug")]
    pub title: String,
    /// The first test lead: the handle of an account.
    #[schema(example = "ada")]
    pub lead: PersonHandle,
    /// The first safety officer: the handle of another account.
    #[schema(example = "brook")]
    pub safety: PersonHandle,
}

/// The programmes in which you take part.
#[utoipa::path(get, path = "", responses((status = 200, description = "Your programmes.", body = OwnProgrammes)))]
pub(crate) async fn list(person: SignedIn, office: Office) -> Answer {
    let items = own_programmes(&office, &person.handle);
    answer(StatusCode::OK, &OwnProgrammes { items })
}

/// The programmes in which somebody takes part, by id.
pub(crate) fn own_programmes(office: &Office, person: &PersonHandle) -> Vec<OwnProgramme> {
    let own = |id: ProgrammeId| {
        office
            .store
            .read(&id, |state, _| {
                let roles = state.roles(person).to_vec();
                (!roles.is_empty()).then(|| OwnProgramme {
                    id: id.clone(),
                    title: state.title.clone(),
                    roles,
                    stand_down: state.stand_down().is_some(),
                })
            })
            .flatten()
    };
    office.store.programmes().into_iter().filter_map(own).collect()
}

/// One programme.
#[utoipa::path(
    get, path = "",
    params(OfMoment),
    responses((status = 200, description = "The programme.", body = ProgrammeView)),
)]
pub(crate) async fn read(
    person: Permitted<Read>,
    past: Query<OfMoment>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let id = person.programme.clone();
    office
        .show(&person, past.as_of.as_deref(), &request, |view| {
            Shown::tagged(&programme_view(&id, view))
        })
        .await
}

/// Begin a programme, with its first test lead and its first safety officer.
///
/// The two are different people, each with an account. They list everybody else.
#[utoipa::path(
    post, path = "",
    request_body(content = FoundProgramme, example = json!({
        "id": "second-tug",
        "title": "The second glider tug",
        "lead": "marit",
        "safety": "sofia",
    })),
    responses((status = 201, description = "Begun.", body = Written<ProgrammeView>)),
)]
pub(crate) async fn found(
    by: Administrator,
    given: Given<FoundProgramme>,
    office: Office,
) -> Answer {
    let Given { body, asked } = given;
    let people = first_people(&body, &office)?;
    let stamp = Stamp { by: by.handle, now: office.now() };
    let (id, place) = (body.id.clone(), format!("/api/v1/programmes/{}", body.id));
    Errand::new(body.id, &stamp, asked)
        .that_founds(body.title.trim().to_owned())
        .carry_out(
            &office,
            move |_| {
                Ok(people.into_iter().map(|person| Draft::from(PersonListed { person })).collect())
            },
            move |view, _| Ok(Outcome::created(place, Shown::tagged(&programme_view(&id, view))?)),
        )
        .await
}

/// The first lead and safety officer, or everything that is wrong with what was given.
fn first_people(body: &FoundProgramme, office: &Office) -> Result<Vec<Person>, Problem> {
    let mut faults = Vec::new();
    let mut fault = |field: &str, why: String| {
        faults.push(FaultView { field: field.to_owned(), why, code: None });
    };
    let length = body.title.trim().chars().count();
    if !(1..=200).contains(&length) || body.title.chars().any(char::is_control) {
        fault("title", "A title has 1 to 200 characters, on one line.".to_owned());
    }
    if body.lead == body.safety {
        fault("safety", "Test lead and safety officer are two people.".to_owned());
    }
    let mut people = Vec::new();
    for (field, handle, role) in
        [("lead", &body.lead, Role::Lead), ("safety", &body.safety, Role::Safety)]
    {
        match office.store.account(handle).filter(|account| account.disabled_at.is_none()) {
            Some(account) => people.push(Person {
                handle: handle.clone(),
                name: account.name,
                roles: vec![role],
                qualifications: Vec::new(),
            }),
            None => fault(
                field,
                format!("There is no account \"{handle}\" that can sign in. Make it first."),
            ),
        }
    }
    if faults.is_empty() {
        return Ok(people);
    }
    Err(Problem::new(INVALID, "The programme cannot be begun so; each fault says why.")
        .with_faults(faults))
}

/// A programme, with how many there are of each thing.
pub(crate) fn programme_view<'a>(id: &'a ProgrammeId, view: View<'a>) -> ProgrammeView<'a> {
    let state = view.state;
    let planned = || state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none());
    ProgrammeView {
        id,
        title: &state.title,
        aircraft: state.aircraft.as_ref(),
        policy: state.policy.as_ref(),
        counts: Counts {
            points: planned().count(),
            accepted_points: planned()
                .filter(|rung| state.accepted_result(&rung.point.code).is_some())
                .count(),
            runs: state.runs.len(),
            open_snags: state.snags.iter().filter(|snag| snag.closed.is_none()).count(),
            open_exceedances: state
                .exceedances
                .iter()
                .filter(|exceedance| exceedance.closed.is_none())
                .count(),
            powered_minutes: state.powered_minutes(),
        },
        stand_down: state.stand_down().is_some(),
        records: state.length(),
    }
}
