//! The shown envelope as pictures, in which each result can be touched that shows a part of it.

mod picture;

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{PointCode, RunNumber};
use programme::envelope::{self, Envelope, PairShown};
use programme::nouns::Axis;
use programme::state::{ResultId, State};
use serde::Deserialize;

use self::picture::Picture;
use super::around::Section;
use super::door::Member;
use super::form::Draft;
use super::words::{axis, counted, moment, rounded, short};
use crate::access::Read;
use crate::api::envelope::{showing, wanted};
use crate::desk::Answer;
use crate::given::Query;
use crate::office::Office;

/// Which configuration.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Which {
    configuration: Option<String>,
}

/// A result that shows something.
#[derive(Debug, Clone)]
pub(crate) struct Showing {
    pub point: PointCode,
    pub run: RunNumber,
    pub recorded_at: DateTime<Utc>,
    pub accepted_at: Option<DateTime<Utc>>,
}

impl Showing {
    fn of(state: &State, id: ResultId) -> Option<Self> {
        let seen = showing(state, id)?;
        Some(Self {
            point: seen.point.clone(),
            run: seen.run,
            recorded_at: seen.at,
            accepted_at: seen.accepted_at,
        })
    }

    fn href(&self, place: &str) -> String {
        format!("{place}/runs/{}/results/{}", self.run, self.point)
    }

    fn link(&self, place: &str) -> Markup {
        html! {
            a href=(self.href(place)) { (self.point) " in run " (self.run) }
            @match self.accepted_at { Some(at) => { ", accepted " (moment(at)) } None => { ", recorded " (moment(self.recorded_at)) } }
        }
    }
}

/// The furthest that was shown on one axis.
#[derive(Debug, Clone)]
pub(crate) struct AxisLine {
    pub axis: Axis,
    pub least: (String, Showing),
    pub greatest: (String, Showing),
    pub design: String,
}

/// Two axes together.
#[derive(Debug, Clone)]
pub(crate) struct PairLine {
    pub name: String,
    /// Name and unit, across and upwards.
    pub axes: [(String, String); 2],
    pub shown: PairShown,
    /// The results, in the order of the evidence.
    pub showing: Vec<Option<Showing>>,
}

/// A configuration in which something was shown.
type Flown = (String, String);

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct EnvelopePage {
    pub place: String,
    pub chosen: String,
    pub results: usize,
    pub axes: Vec<AxisLine>,
    pub pairs: Vec<PairLine>,
    pub configurations: Vec<Flown>,
}

impl EnvelopePage {
    fn of(place: String, state: &State, shown: &Envelope, chosen: String) -> Self {
        let axes = shown.axes.iter().filter_map(|it| {
            let design = match (it.design_least, it.design_greatest) {
                (Some(least), Some(greatest)) => format!("{least} to {greatest}"),
                (Some(least), None) => format!("at least {least}"),
                (None, Some(greatest)) => format!("at most {greatest}"),
                (None, None) => "not told".to_owned(),
            };
            Some(AxisLine {
                axis: it.axis,
                least: (it.least.reached.to_string(), Showing::of(state, it.least.by)?),
                greatest: (it.greatest.reached.to_string(), Showing::of(state, it.greatest.by)?),
                design,
            })
        });
        let pairs = shown.pairs.iter().map(|pair| {
            let named = |(of, unit): (Axis, programme::measure::Unit)| {
                (axis(of).to_owned(), unit.to_string())
            };
            PairLine {
                name: pair.pair.as_str().to_owned(),
                axes: [named(pair.pair.across()), named(pair.pair.upwards())],
                showing: pair.evidence.iter().map(|it| Showing::of(state, it.by)).collect(),
                shown: pair.clone(),
            }
        });
        let configurations = envelope::configurations(state).into_iter().map(|it| {
            let digest = it.digest.to_string();
            let present = if it.is_present { ", as fitted now" } else { "" };
            let results = counted(it.results.len(), "result", "results");
            let told = format!("configuration {}{present}, {results}", short(&digest));
            (digest, told)
        });
        Self {
            place,
            chosen,
            results: shown.results.len(),
            axes: axes.collect(),
            pairs: pairs.collect(),
            configurations: configurations.collect(),
        }
    }

    fn body(&self) -> Markup {
        let here = format!("{}/envelope", self.place);
        let ask = Draft::new("which", &here, "", None);
        let mut choices = vec![(String::new(), "what stands for what is fitted now".to_owned())];
        choices.extend(self.configurations.iter().cloned());
        html! {
            h1 { "Shown envelope" }
            p.lead { "What " (counted(self.results, "accepted result", "accepted results")) " demonstrated. It clears nobody to fly; the next step is no larger than the build-up allows." }
            p { a href={ (self.place) "/predictions" } { "Next steps, with what is predicted of each" } }
            (ask.asks(html! {
                (ask.choice("configuration", "Of which configuration", "", &self.chosen, &choices))
                p.send { button.quiet { "Show it" } }
            }))
            section {
                h2 #axes { "Axis by axis" }
                @if self.axes.is_empty() { p { "Nothing was shown yet: no result was accepted that reached anything." } }
                @else {
                    div.wide tabindex="0" role="region" aria-label="Axis by axis" {
                        table.stack {
                            thead { tr { th scope="col" { "Axis" } th scope="col" { "Least shown" } th scope="col" { "Greatest shown" } th scope="col" { "Design" } } }
                            tbody { @for it in &self.axes { tr {
                                th scope="row" { (axis(it.axis)) }
                                td data-is="Least" { strong { (it.least.0) } " " span.source { (it.least.1.link(&self.place)) } }
                                td data-is="Greatest" { strong { (it.greatest.0) } " " span.source { (it.greatest.1.link(&self.place)) } }
                                td data-is="Design" { (it.design) }
                            } } }
                        }
                    }
                }
            }
            @for (place, pair) in self.pairs.iter().enumerate() { (self.pair(place, pair)) }
        }
    }

    fn pair(&self, place: usize, pair: &PairLine) -> Markup {
        let [(across, x_unit), (upwards, y_unit)] = &pair.axes;
        let edge: Vec<_> =
            pair.shown.regions.iter().flat_map(|it| &it.bounds).map(|it| it.by).collect();
        let lines: Vec<_> = pair.shown.evidence.iter().zip(&pair.showing).collect();
        let (edges, others): (Vec<_>, Vec<_>) =
            lines.into_iter().partition(|(evidence, _)| edge.contains(&evidence.by));
        let told = |lines: &[(&programme::envelope::Evidence, &Option<Showing>)]| {
            html! {
                ul { @for (evidence, showing) in lines { @if let Some(showing) = showing {
                    li { (rounded(evidence.at[0])) " " (x_unit) ", " (rounded(evidence.at[1])) " " (y_unit) ": " (showing.link(&self.place)) }
                } } }
            }
        };
        html! {
            section {
                h2 #{ "pair-" (pair.name) } { (upwards) " over " (across.to_lowercase()) }
                @if pair.shown.evidence.is_empty() { p { "Nothing was shown of these two together: the picture comes with the first accepted result that reached both." } }
                @else { div.picture tabindex="0" role="group" aria-label={ "Picture of " (upwards) " over " (across) } { (Picture { place: &self.place, number: place, pair }.svg()) } }
                @if !edges.is_empty() { h3 { "Results at the edge of it" } (told(&edges)) }
                @if !others.is_empty() { details { summary { (counted(others.len(), "other result", "other results")) " inside" } (told(&others)) } }
                @for note in &pair.shown.boundary.notes { p.source { (note) } }
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        use programme::envelope::{Evidence, Pair};
        let showing = || Showing {
            point: codes(1).remove(0),
            run: RunNumber(3),
            recorded_at: DateTime::UNIX_EPOCH,
            accepted_at: Some(DateTime::UNIX_EPOCH),
        };
        let page = |many: usize| {
            let state = State::default();
            let mut shown = Envelope::present(&state);
            for pair in &mut shown.pairs {
                pair.boundary.notes = vec![long("No boundary is told.", many)];
                pair.evidence = (0..many)
                    .map(|place| Evidence { by: ResultId(place), at: [place as f64, 50.0] })
                    .collect();
            }
            Self {
                place: "/programmes/tug".to_owned(),
                chosen: String::new(),
                results: many,
                axes: (0..many.min(13))
                    .map(|place| AxisLine {
                        axis: Axis::ALL[place],
                        least: ("12 kt".to_owned(), showing()),
                        greatest: ("52 kt".to_owned(), showing()),
                        design: "at most 130 kt".to_owned(),
                    })
                    .collect(),
                pairs: Pair::ALL
                    .into_iter()
                    .map(|pair| PairLine {
                        name: pair.as_str().to_owned(),
                        axes: ["Speed", "Altitude"].map(|it| (long(it, many), "kt".to_owned())),
                        shown: shown.pair(pair).unwrap().clone(),
                        showing: (0..many).map(|_| Some(showing())).collect(),
                    })
                    .collect(),
                configurations: (0..many)
                    .map(|place| (format!("{place}"), long("configuration", many)))
                    .collect(),
            }
            .body()
        };
        vec![("ordinary", page(3)), ("empty", page(0)), ("worst case", page(60))]
    }
}

/// The page.
pub(crate) async fn show(member: Member<Read>, which: Query<Which>, office: Office) -> Answer {
    let chosen = which.configuration.clone().filter(|it| !it.is_empty());
    let page = member
        .look(&office, |view| {
            let (shown, _) = wanted(view.state, chosen.as_deref())?;
            let chosen = chosen.clone().unwrap_or_default();
            Ok(EnvelopePage::of(member.place(""), view.state, &shown, chosen))
        })
        .await?;
    Ok(member.around("Shown envelope", Section::Envelope).reply(StatusCode::OK, page.body()))
}
