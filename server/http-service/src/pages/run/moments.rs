//! The moments of a run: what may come next, large, and what was noted.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::people::Act;
use programme::record::{RunEvent, RunKind, RunTimes};

use super::shown::RunPage;
use crate::pages::words::{for_field, moment};
use crate::problem::capitalised;

/// A moment as it is written in records.
const fn written(event: RunEvent) -> &'static str {
    match event {
        RunEvent::PowerOn => "power-on",
        RunEvent::OffBlocks => "off-blocks",
        RunEvent::TakeOff => "take-off",
        RunEvent::Landing => "landing",
        RunEvent::OnBlocks => "on-blocks",
        RunEvent::PowerOff => "power-off",
    }
}

/// The moments that a kind of run has, in their order.
const fn events(kind: RunKind) -> &'static [RunEvent] {
    use RunEvent::{Landing, OffBlocks, OnBlocks, PowerOff, PowerOn, TakeOff};
    match kind {
        RunKind::GroundRun => &[PowerOn, PowerOff],
        RunKind::TaxiRun => &[PowerOn, OffBlocks, OnBlocks, PowerOff],
        RunKind::Flight => &[PowerOn, OffBlocks, TakeOff, Landing, OnBlocks, PowerOff],
    }
}

/// The times that were noted for a moment.
fn noted(times: &RunTimes, event: RunEvent) -> Vec<DateTime<Utc>> {
    match event {
        RunEvent::PowerOn => times.power_on.into_iter().collect(),
        RunEvent::OffBlocks => times.off_blocks.into_iter().collect(),
        RunEvent::TakeOff => times.take_offs.clone(),
        RunEvent::Landing => times.landings.clone(),
        RunEvent::OnBlocks => times.on_blocks.into_iter().collect(),
        RunEvent::PowerOff => times.power_off.into_iter().collect(),
    }
}

/// Whether a moment comes more than once in a run.
const fn repeats(event: RunEvent) -> bool {
    matches!(event, RunEvent::TakeOff | RunEvent::Landing)
}

impl RunPage {
    /// One button for each moment that may come next.
    pub(super) fn moments(&self) -> Markup {
        let to = self.here("/moments");
        let at_another_time = self.draft("moment", &to);
        html! {
            section.big {
                h2 #moments { "Moments" }
                @if self.may_conduct {
                    @for event in events(self.kind) {
                        @if noted(&self.times, *event).is_empty() || repeats(*event) {
                            @let name = format!("moment-{}", written(*event));
                            @let draft = self.draft(&name, &to);
                            (draft.form(html! {
                                (self.back(&draft))
                                (draft.hidden("event", written(*event)))
                                p.send { button.moment { (capitalised(event.in_words())) " now" } }
                            }))
                        }
                    }
                    details open[self.trouble.as_ref().is_some_and(|trouble| trouble.form == "moment")] {
                        summary { "It was at another time" }
                        (at_another_time.form(html! {
                            (self.back(&at_another_time))
                            (at_another_time.choice("event", "Moment", "", "", &events(self.kind).iter().map(|event| (written(*event).to_owned(), event.in_words().to_owned())).collect::<Vec<_>>()))
                            (at_another_time.moment("observed_at:moment", "When", "", &for_field(self.now)))
                            (at_another_time.send("Note it"))
                        }))
                    }
                } @else { p { "Your roles may not note them: that is for " (Act::ConductRuns.allowed_in_words()) "." } }
            }
        }
    }

    pub(super) fn log(&self) -> Markup {
        let [powered, block, taxi, airborne] = self.minutes;
        let minutes = |minutes: Option<u32>| {
            minutes.map_or_else(|| "not complete".to_owned(), |minutes| format!("{minutes} min"))
        };
        html! {
            section {
                h2 #times { "Times" }
                dl.pairs {
                    @for event in events(self.kind) {
                        dt { (capitalised(event.in_words())) }
                        dd {
                            @let times = noted(&self.times, *event);
                            @if times.is_empty() { "not noted" }
                            @for (place, at) in times.iter().enumerate() { @if place > 0 { ", " } (moment(*at)) }
                        }
                    }
                    dt { "Under power" } dd { (minutes(powered)) }
                    @if self.kind != RunKind::GroundRun {
                        dt { "Blocks to blocks" } dd { (minutes(block)) }
                        dt { "Moving on the ground" } dd { (minutes(taxi)) }
                    }
                    @if self.kind == RunKind::Flight { dt { "In the air" } dd { (minutes(airborne)) } }
                }
                @if !self.corrections.is_empty() {
                    h3 { "Corrections" }
                    ul { @for (reason, by, at) in &self.corrections { li { (reason) " (" (by) ", " (moment(*at)) ")" } } }
                }
            }
        }
    }
}
