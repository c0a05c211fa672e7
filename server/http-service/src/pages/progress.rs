//! How the programme gets on: points by phase over time, repeats, where the days went, and noting a day that was lost.

use actix_web::http::StatusCode;
use maud::{Markup, PreEscaped, html};
use programme::nouns::{LostTo, Phase};
use programme::people::Act;
use programme::progress::{self, DayWithoutRun, Progress, Repeats};
use programme::state::StandingPoints;

use super::around::Section;
use super::door::Member;
use super::form::{Draft, Form, Trouble, settled};
use super::point::Recorded;
use super::words::{amount, counted, person, phase, total};
use crate::access::{NoteLostDays, Permission, Read};
use crate::api;
use crate::desk::Answer;
use crate::given::Query;
use crate::office::Office;
use crate::picture::{ProgressPicture, draw_progress};

/// So many days without a run are listed.
const LISTED: usize = 60;

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct ProgressPage {
    pub place: String,
    pub token: String,
    pub may_note: bool,
    /// The day that is noted most often: yesterday.
    pub yesterday: String,
    pub progress: Progress,
    /// Names of those who noted days.
    pub names: Vec<String>,
    /// As SVG.
    pub picture: String,
    pub trouble: Option<Trouble>,
}

fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// The least and the greatest of some figures, in words.
fn span(figures: &[f64]) -> String {
    let least = figures.iter().copied().fold(f64::INFINITY, f64::min);
    let most = figures.iter().copied().fold(0.0, f64::max);
    format!("{} to {most} days", least.min(most))
}

/// What a day was lost to; an absent cause is one that nobody knows.
fn cause(cause: Option<LostTo>) -> &'static str {
    cause.map_or("nobody has noted why", LostTo::in_words)
}

impl ProgressPage {
    fn body(&self) -> Markup {
        let planned: u32 = self.progress.points.values().map(StandingPoints::planned).sum();
        let accepted: u32 = self.progress.points.values().map(|it| it.accepted).sum();
        html! {
            h1 { "Progress" }
            p.lead { (accepted) " of " (counted(planned as usize, "point", "points")) " accepted." }
            p { "Where points stand by plan and results alone; holds and releases come and go by the clock and are on the " a href={ (self.place) "/ladder" } { "ladder" } "." }
            div.picture.chart tabindex="0" role="region" aria-label="Points by phase, day by day" { (PreEscaped(&self.picture)) }
            (self.points())
            (self.to_go())
            (self.repeats())
            (self.days())
            (self.noting())
        }
    }

    fn points(&self) -> Markup {
        let rows = self.progress.points.iter().filter(|(_, it)| **it != StandingPoints::default());
        html! {
            section {
                h2 #points { "Points by phase" }
                div.wide tabindex="0" role="region" aria-label="Points by phase" {
                    table.sums {
                        caption { "How many points stand where now" }
                        thead { tr {
                            th scope="col" { "Phase" } th scope="col" { "Planned" } th scope="col" { "Accepted" } th scope="col" { "Awaits acceptance" }
                            th scope="col" { "Not met" } th scope="col" { "Lapsed" } th scope="col" { "Not run" } th scope="col" { "Dropped" }
                        } }
                        tbody {
                            @for (of, it) in rows {
                                tr {
                                    th scope="row" { (phase(*of)) }
                                    td { (it.planned()) } td { (it.accepted) } td { (it.awaiting_acceptance) }
                                    td { (it.not_met) } td { (it.lapsed) } td { (it.not_run) } td { (it.dropped) }
                                }
                            }
                        }
                    }
                }
            }
        }
    }

    fn to_go(&self) -> Markup {
        html! {
            section {
                h2 #to-go { "Hours and landings to go" }
                @if self.progress.to_go.is_empty() { p { "The programme's policy requires no totals." } }
                ul {
                    @for it in &self.progress.to_go {
                        li {
                            (total(it.total))
                            @if !it.phases.is_empty() { " (" (it.phases.iter().map(|of| phase(*of).to_lowercase()).collect::<Vec<_>>().join(", ")) ")" }
                            ": " (amount(it.total, it.done)) " of " (amount(it.total, it.required)) ", " strong { (amount(it.total, it.remaining)) } " to go."
                        }
                    }
                }
                p { a href={ (self.place) "/hours" } { "Hours and log" } " tells who asks for them, and every run that counts." }
            }
        }
    }

    fn repeats(&self) -> Markup {
        let row = |of: &Phase, it: &Repeats| {
            let [low, high] = it.share_between;
            html! {
                tr {
                    th scope="row" { (phase(*of)) }
                    td { (it.shown + it.repeated) } td { (it.repeated) } td { (percent(it.share)) }
                    td { (percent(low)) " to " (percent(high)) }
                    td { @match self.progress.days_to_acceptance.get(of) { Some(days) => { (span(days)) } None => "none accepted yet" } }
                }
            }
        };
        html! {
            section {
                h2 #repeats { "Repeats" }
                @if self.progress.repeats.is_empty() { p { "No result is recorded yet." } } @else {
                    div.wide tabindex="0" role="region" aria-label="Repeats by phase" {
                        table.sums {
                            caption { "Results that did not show what they were for, and working days from the run to the acceptance" }
                            thead { tr {
                                th scope="col" { "Phase" } th scope="col" { "Results" } th scope="col" { "To be repeated" } th scope="col" { "Share" }
                                th scope="col" { "With 95 % confidence" } th scope="col" { "Working days to acceptance" }
                            } }
                            tbody { @for (of, it) in &self.progress.repeats { (row(of, it)) } }
                        }
                    }
                    p.source { "A result that was recorded anew counts once. The interval is Wilson's, and holds if one result says nothing about the next." }
                }
            }
        }
    }

    fn days(&self) -> Markup {
        let spent = &self.progress.spent;
        let noted = |it: &DayWithoutRun, name: &str| {
            html! {
                p { strong { (it.date) } ": " (cause(it.cause)) }
                @if it.cause.is_some() { p { (it.account) } }
                @if it.noted_by.is_some() { p.source { "Noted by " (name) } } @else if it.cause.is_some() { p.source { "From the records of that day; nobody has noted anything." } }
            }
        };
        html! {
            section {
                h2 #days { "Where the days went" }
                @match (spent.from, spent.to) {
                    (Some(from), Some(to)) => {
                        p {
                            "From the first run on " (from) " until " (to) ": " strong { (counted(spent.working_days as usize, "working day", "working days")) } ", "
                            (spent.with_runs) " with runs, " (spent.working_days - spent.with_runs) " without."
                            @if !spent.by_assumption { " Nobody has said on which days the team works, so every day counts." }
                        }
                    }
                    _ => { p { "No run was made yet; days are counted from the first one on." } }
                }
                @if !spent.lost.is_empty() {
                    table.sums {
                        caption { "Working days without a run, each by one cause: what somebody noted, or else what the records tell" }
                        thead { tr { th scope="col" { "Lost to" } th scope="col" { "Days" } } }
                        tbody { @for it in &spent.lost { tr { th scope="row" { (cause(it.cause)) } td { (it.days) } } } }
                    }
                    details {
                        summary { "Each of these days, newest first" }
                        ul.calls { @for (it, name) in spent.days.iter().zip(&self.names).take(LISTED) { li { (noted(it, name)) } } }
                        @if spent.days.len() > LISTED { p { (spent.days.len() - LISTED) " more before them." } }
                    }
                }
            }
        }
    }

    fn noting(&self) -> Markup {
        let to = format!("{}/progress", self.place);
        let draft = Draft::new("lost-day", &to, &self.token, self.trouble.as_ref());
        let causes: Vec<(String, String)> = LostTo::ALL
            .iter()
            .map(|it| (it.as_str().to_owned(), it.in_words().to_owned()))
            .chain([(String::new(), "it was not lost: no work was meant".to_owned())])
            .collect();
        html! {
            section {
                h2 #note { "Note a day without a run" }
                @if !self.may_note {
                    p { "Lost days are noted by: " (Act::NoteLostDays.allowed_in_words()) "." }
                } @else {
                    (draft.form(html! {
                        (draft.day("date", "Day", "", &self.yesterday))
                        (draft.choice("cause?", "It was lost to", "What is noted last of a day holds.", "weather", &causes))
                        (draft.text("account", "What happened", ""))
                        (draft.send("Note it"))
                    }))
                }
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use super::tests::long;
        use chrono::{Days, NaiveDate};
        use programme::progress::{CauseOfDays, DaysSpent};
        use programme::state::State;
        let first = NaiveDate::from_ymd_opt(2031, 5, 12).unwrap();
        let page = |many: usize| {
            let mut progress = progress::of(&State::default(), chrono::DateTime::UNIX_EPOCH);
            let many_days = u32::try_from(many).unwrap();
            if many > 0 {
                let standing =
                    StandingPoints { accepted: 3, not_run: many_days, ..StandingPoints::default() };
                progress.points = Phase::ALL.iter().map(|phase| (*phase, standing)).collect();
                progress.repeats = Phase::ALL
                    .iter()
                    .map(|phase| (*phase, Repeats::of(many_days, 1).unwrap()))
                    .collect();
                progress.days_to_acceptance = [(Phase::Taxi, vec![1.0; many])].into();
                let day = |place: usize| DayWithoutRun {
                    date: first + Days::new(place as u64),
                    cause: (!place.is_multiple_of(3)).then_some(LostTo::Weather),
                    noted_by: place.is_multiple_of(2).then(|| "marit".parse().unwrap()),
                    account: long("Rain.", many),
                };
                progress.spent = DaysSpent {
                    from: Some(first),
                    to: Some(first + Days::new(many as u64)),
                    by_assumption: many > 10,
                    working_days: many_days + 1,
                    with_runs: 1,
                    lost: vec![CauseOfDays { cause: None, days: many_days }],
                    days: (0..many).map(day).collect(),
                };
            }
            let programme = long("Electric glider tug", many);
            let drawn =
                draw_progress(&ProgressPicture { programme: &programme, days: &[], today: first });
            Self {
                place: "/programmes/tug".to_owned(),
                token: "0".repeat(64),
                may_note: many > 0,
                yesterday: "2031-05-11".to_owned(),
                names: vec![long("Marit", many); many],
                progress,
                picture: drawn,
                trouble: None,
            }
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(70).body()),
        ]
    }
}

/// The page.
pub(crate) async fn show(
    member: Member<Read>,
    recorded: Query<Recorded>,
    office: Office,
) -> Answer {
    page(&office, &member, recorded.recorded, None).await
}

async fn page<P: Permission>(
    office: &Office,
    member: &Member<P>,
    recorded: Option<u64>,
    trouble: Option<Trouble>,
) -> Answer {
    let status = trouble.as_ref().map_or(StatusCode::OK, |trouble| trouble.status);
    let page = member
        .look(office, |view| {
            let progress = progress::of(view.state, view.now);
            let name = |it: &DayWithoutRun| {
                it.noted_by.as_ref().map(|by| person(view.state, by)).unwrap_or_default()
            };
            let yesterday = view.now.date_naive().pred_opt();
            Ok(ProgressPage {
                place: member.place(""),
                token: member.visitor.form_token.clone(),
                may_note: member.may(Act::NoteLostDays),
                yesterday: yesterday.map(|day| day.to_string()).unwrap_or_default(),
                names: progress.spent.days.iter().map(name).collect(),
                picture: draw_progress(&ProgressPicture::of(view.state, view.now)),
                progress,
                trouble,
            })
        })
        .await?;
    Ok(member.around("Progress", Section::Progress).recorded(recorded).reply(status, page.body()))
}

/// Notes a day that was lost, or that was not.
pub(crate) async fn note(member: Member<NoteLostDays>, form: Form, office: Office) -> Answer {
    let acted = async {
        api::progress::note_lost_day(member.permitted.clone(), form.given()?, office.clone()).await
    }
    .await;
    settled(acted, form, &member.place("/progress"), async |trouble| {
        page(&office, &member, None, Some(trouble)).await
    })
    .await
}
