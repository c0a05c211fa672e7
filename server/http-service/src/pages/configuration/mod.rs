//! What is fitted, how that changed, and what a change would undo before it is recorded.

mod dry_run;
mod narrowing;
mod shown;

use actix_web::http::StatusCode;
use programme::codes::ItemCode;
use serde::Deserialize;

pub(crate) use dry_run::DryRunPage;
#[cfg(test)]
pub(crate) use narrowing::NarrowingPage;
pub(crate) use narrowing::{narrow, narrowing};
pub(crate) use shown::ConfigurationPage;

use super::around::Section;
use super::door::Member;
use super::form::{Form, Trouble, recorded};
use super::point::Recorded;
use super::told::Told;
use crate::access::{Configure, Permission, Read};
use crate::api::changes::{SupposedChange, effects_of};
use crate::api::configuration as api;
use crate::desk::Answer;
use crate::given::{At, Query};
use crate::office::Office;
use crate::problem::{BAD_QUERY, Problem};

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    let page = member.look(&office, |view| Ok(ConfigurationPage::of(&member, view.state))).await?;
    let around = member.around("Configuration", Section::Configuration);
    Ok(around.recorded(recorded.recorded).reply(StatusCode::OK, page.body()))
}

/// A change that is only supposed, as the address has it.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Supposed {
    change: Option<String>,
    item: Option<String>,
    /// An item that is not fitted yet.
    other: Option<String>,
    version: Option<String>,
    event: Option<String>,
}

/// A change, with what the form to record it needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Change {
    Fitted { item: ItemCode, version: String },
    Removed { item: ItemCode },
    Happened { event: String },
}

impl Change {
    fn of(asked: &Supposed) -> Result<Self, Problem> {
        let text = |it: &Option<String>| it.as_deref().unwrap_or_default().trim().to_owned();
        let item = || {
            let (other, item) = (text(&asked.other), text(&asked.item));
            let (field, named) = if other.is_empty() { ("item", item) } else { ("other", other) };
            ItemCode::new(&named).map_err(|_| {
                Problem::of_field(BAD_QUERY, field, "Choose an item, or give the code of another.")
            })
        };
        match text(&asked.change).as_str() {
            "removed" => Ok(Self::Removed { item: item()? }),
            "happened" => Ok(Self::Happened { event: text(&asked.event) }),
            _ => Ok(Self::Fitted { item: item()?, version: text(&asked.version) }),
        }
    }

    fn supposed(&self) -> Result<SupposedChange, Problem> {
        Ok(match self.clone() {
            Self::Fitted { item, version } => SupposedChange::Fitted { item, version },
            Self::Removed { item } => SupposedChange::Removed { item },
            Self::Happened { event } => {
                let event = programme::codes::EventCode::new(&event).map_err(|_| {
                    Problem::of_field(BAD_QUERY, "event", "Choose a happening that ends a check.")
                })?;
                SupposedChange::Happened { event }
            }
        })
    }
}

/// What a change would bring about. Nothing is recorded.
pub(crate) async fn dry_run(
    member: Member<Read>,
    asked: Query<Supposed>,
    office: Office,
) -> Answer {
    supposed(&office, &member, Change::of(&asked), None).await
}

async fn supposed<P: Permission>(
    office: &Office,
    member: &Member<P>,
    change: Result<Change, Problem>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let found = async {
        let change = change?;
        let asked = change.supposed()?;
        let by = member.visitor.handle.clone();
        member
            .look(office, |view| {
                let effects = effects_of(view, asked, &by)?;
                Ok(DryRunPage::of(member, view.state, change, &effects, trouble))
            })
            .await
    }
    .await;
    let around = member.around("What a change would undo", Section::Configuration);
    match found {
        Ok(page) => Ok(around.reply(status, page.body())),
        Err(problem) => {
            problem.log();
            let (status, told) = (problem.status(), Told::of(&problem));
            let page = member
                .look(office, |view| Ok(ConfigurationPage::of(member, view.state).refused(told)))
                .await?;
            Ok(around.reply(status, page.body()))
        }
    }
}

/// The item that a form is about.
#[derive(Debug, Deserialize)]
struct Named {
    item: ItemCode,
}

async fn ended(
    acted: Answer,
    form: Form,
    change: impl FnOnce(&Form) -> Result<Change, Problem>,
    (office, member): (&Office, &Member<Configure>),
) -> Answer {
    match recorded(acted, &member.place("/configuration")).await {
        Ok(reply) => Ok(reply),
        Err(problem) => {
            let change = change(&form);
            supposed(office, member, change, Some(form.trouble(problem))).await
        }
    }
}

fn item_of(form: &Form) -> Result<ItemCode, Problem> {
    let Named { item } = form.only(&["item"]).given()?.body;
    Ok(item)
}

/// Fits an item, or another version of it.
pub(crate) async fn fit(member: Member<Configure>, form: Form, office: Office) -> Answer {
    let (person, seen) = (member.permitted.clone(), form.revision());
    let acted = async {
        let item = item_of(&form)?;
        let given = form.clone().without(|name| name == "item").given()?;
        api::fit(person, At(item), seen, given, office.clone()).await
    }
    .await;
    let change = |form: &Form| {
        Ok(Change::Fitted { item: item_of(form)?, version: form.text("version").to_owned() })
    };
    ended(acted, form, change, (&office, &member)).await
}

/// Takes an item off.
pub(crate) async fn remove(member: Member<Configure>, form: Form, office: Office) -> Answer {
    let (person, seen) = (member.permitted.clone(), form.revision());
    let acted = async {
        let item = item_of(&form)?;
        let given = form.clone().without(|name| name == "item").given()?;
        api::remove(person, At(item), seen, given, office.clone()).await
    }
    .await;
    let change = |form: &Form| Ok(Change::Removed { item: item_of(form)? });
    ended(acted, form, change, (&office, &member)).await
}
