//! By how much a recorder's clock is ahead of another's: an estimate, and a person who confirms it.

use actix_web::http::StatusCode;
use maud::{Markup, html};
use programme::codes::ChannelCode;
use programme::people::Act;
use programme::record::Digest;
use programme::state::Amendable;
use serde::Deserialize;

use crate::access::{ConfirmClocks, Permission, Read};
use crate::api::recordings::{self as api, ClockEstimate, Comparison};
use crate::desk::Answer;
use crate::given::{At, Query, Sha256};
use crate::office::Office;
use crate::pages::around::Section;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Form, Trouble, recorded};
use crate::pages::told::Told;
use crate::pages::words::rounded;
use crate::problem::{BAD_QUERY, Problem};

/// What is asked by the address.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    /// Recording and channel, parted by a space.
    with: Option<String>,
    most_s: Option<String>,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct ClockPage {
    pub place: String,
    pub token: String,
    pub recording: String,
    pub name: String,
    pub revision: u64,
    pub may_confirm: bool,
    /// What it can be compared with: recording and channel, and that in words.
    pub choices: Vec<(String, String)>,
    pub chosen: Option<(String, String)>,
    pub found: Option<Found>,
    pub trouble: Option<Trouble>,
}

/// What came of a comparison.
#[derive(Debug, Clone)]
pub(crate) enum Found {
    Estimate { offset_s: f64, correlation: f64, sentence: String },
    Refused(Told),
}

impl ClockPage {
    fn here(&self) -> String {
        format!("{}/recordings/{}/clock", self.place, self.recording)
    }

    fn body(&self) -> Markup {
        let here = self.here();
        let ask = Draft::new("compare", &here, &self.token, None);
        let chosen = self.chosen.as_ref().map(|(against, channel)| format!("{against} {channel}"));
        html! {
            h1 { "The clock of " (self.name) }
            p { "Two recorders of one run seldom agree on the time. Where both recorded the same quantity, the lines tell by how much one clock is ahead. It is an estimate, and is used only when an engineer confirms it." }
            p { a href={ (self.place) "/recordings/" (self.recording) } { "The recording" } }
            section {
                h2 #compare { "Compare it" }
                @if self.choices.is_empty() { p { "No other recording has a channel of this one, and a time near it." } }
                @else {
                    (ask.asks(html! {
                        (ask.choice("with", "With the clock of", "", chosen.as_deref().unwrap_or_default(), &self.choices))
                        (ask.figure_with("most_s", "How far apart the clocks may be", "", "s", Some(120.0)))
                        (ask.send("Compare the two"))
                    }))
                }
            }
            @match &self.found {
                None => {}
                Some(Found::Refused(told)) => { (told.part()) }
                Some(Found::Estimate { offset_s, correlation, sentence }) => {
                    section {
                        h2 #found { "Found: " (rounded(*offset_s)) " s" }
                        p { (sentence) }
                        (self.confirming(*offset_s, *correlation))
                    }
                }
            }
        }
    }

    fn confirming(&self, offset_s: f64, correlation: f64) -> Markup {
        let here = self.here();
        let draft = Draft::new("confirm", &here, &self.token, self.trouble.as_ref());
        let Some((against, channel)) = &self.chosen else { return html! {} };
        html! {
            p {
                "Look at both lines first: " a href={ (self.place) "/recordings/" (self.recording) "/plot?channel=" (channel) } { "this one" }
                " and " a href={ (self.place) "/recordings/" (against) "/plot?channel=" (channel) } { "the other" } "."
            }
            @if self.may_confirm {
                (draft.form(html! {
                    (draft.hidden("form.revision", self.revision))
                    (draft.hidden("against", against))
                    (draft.hidden("channel", channel))
                    (draft.hidden("correlation:number", correlation))
                    (draft.figure_with("offset_s:number", "This clock is ahead by", "Negative: it is behind.", "s", Some((offset_s * 1000.0).round() / 1000.0)))
                    (draft.send("Confirm it"))
                }))
                p { "Attach the recording to its run once more afterwards, so that what reads several recorders together is judged anew." }
            } @else {
                p { "Confirming it is for " (Act::ConfirmClocks.allowed_in_words()) "." }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            recording: "0".repeat(64),
            name: long("bms.csv", many),
            revision: 12,
            may_confirm: true,
            choices: (0..many)
                .map(|place| (format!("a c{place}"), long("inverter.csv: Current", many)))
                .collect(),
            chosen: (many > 0).then(|| ("a".to_owned(), "pack_a".to_owned())),
            found: (many > 0).then(|| Found::Estimate {
                offset_s: 4.7,
                correlation: 0.98,
                sentence: long("The clock seems to be ahead.", many),
            }),
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// The page.
pub(crate) async fn clock(
    member: Member<Read>,
    recording: At<Sha256>,
    asked: Query<Asked>,
    office: Office,
) -> Answer {
    let chosen = match asked.with.as_deref() {
        None | Some("") => None,
        Some(with) => {
            let (against, channel) = with.split_once(' ').ok_or_else(|| {
                Problem::of_field(BAD_QUERY, "with", "Choose what it is compared with.")
            })?;
            Some((against.to_owned(), channel.to_owned()))
        }
    };
    let most_s = asked.most_s.as_deref().and_then(|text| text.trim().parse().ok());
    page(&office, &member, &recording.0.0, (chosen, most_s), None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recording: &Digest,
    (chosen, most_s): (Option<(String, String)>, Option<f64>),
    trouble: Option<Trouble>,
) -> Answer {
    let found = match &chosen {
        None => None,
        Some((against, channel)) => {
            Some(match compare(office, member, recording, (against, channel), most_s).await {
                Ok(ClockEstimate { offset_s, correlation, sentence, .. }) => {
                    Found::Estimate { offset_s, correlation, sentence }
                }
                Err(problem) => Found::Refused(Told::of(&problem)),
            })
        }
    };
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let state = view.state;
            let seen = api::recording_view(state, recording)?;
            let mut choices = Vec::new();
            let others = state.recordings.order.iter().rev().filter(|it| *it != recording);
            for other in others {
                let Ok(other_seen) = api::recording_view(state, other) else { continue };
                let apart = other_seen.set_aside.is_some()
                    || other_seen.started > seen.ended + chrono::TimeDelta::hours(1)
                    || other_seen.ended + chrono::TimeDelta::hours(1) < seen.started;
                if apart {
                    continue;
                }
                let both = other_seen
                    .channels
                    .iter()
                    .filter(|it| seen.channels.iter().any(|own| own.channel == it.channel));
                choices.extend(both.map(|it| {
                    let told = format!("{}: {}", other_seen.name, it.channel);
                    (format!("{other} {}", it.channel), told)
                }));
            }
            Ok(ClockPage {
                place: member.place(""),
                token: member.visitor.form_token.clone(),
                recording: recording.to_string(),
                name: seen.name.to_owned(),
                revision: state.revision(&Amendable::Recording(recording.clone())),
                may_confirm: member.may(Act::ConfirmClocks),
                choices,
                chosen,
                found,
                trouble,
            })
        })
        .await?;
    let title = format!("The clock of {}", page.name);
    Ok(member.around(title, Section::Recordings).reply(status, page.body()))
}

async fn compare<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recording: &Digest,
    (against, channel): (&str, &str),
    most_s: Option<f64>,
) -> Result<ClockEstimate, Problem> {
    let unknown =
        |why: &dyn std::fmt::Display| Problem::of_field(BAD_QUERY, "with", why.to_string());
    let asked = Comparison {
        against: Digest::try_from(against.to_owned()).map_err(|error| unknown(&error))?,
        channel: ChannelCode::new(channel).map_err(|error| unknown(&error))?,
        most_s,
    };
    api::estimated(office, &member.permitted, recording, &asked).await
}

/// Confirms by how much the clock is ahead.
pub(crate) async fn confirm_clock(
    member: Member<ConfirmClocks>,
    form: Form,
    recording: At<Sha256>,
    office: Office,
) -> Answer {
    let of = recording.0.0.clone();
    let (person, seen) = (member.permitted.clone(), form.revision());
    let acted =
        async { api::confirm_clock(person, recording, seen, form.given()?, office.clone()).await }
            .await;
    match recorded(acted, &member.place(&format!("/recordings/{of}"))).await {
        Ok(reply) => Ok(reply),
        Err(problem) => {
            let chosen = (form.text("against").to_owned(), form.text("channel").to_owned());
            page(&office, &member, &of, (Some(chosen), None), Some(form.trouble(problem))).await
        }
    }
}
