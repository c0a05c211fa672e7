//! What a card says, in words.

use maud::{Markup, html};
use programme::codes::PointCode;
use programme::commands::digests;
use programme::nouns::Phase;
use programme::state::{Rung, State};

use crate::pages::words::{
    axis, channel_name, condition, criterion, figure, limit, phase, weather,
};
use crate::problem::Problem;
use programme::measure::Unit;

/// A hazard as the card tells it.
#[derive(Debug, Clone)]
pub(crate) struct HazardLine {
    pub code: String,
    pub title: String,
    pub effect: String,
    pub mitigations: Vec<String>,
    /// Severity and probability after mitigations, such as `2D`; absent: nobody has judged it.
    pub residual: Option<String>,
}

/// A card.
#[derive(Debug, Clone)]
pub(crate) struct CardShown {
    pub code: PointCode,
    pub title: String,
    pub phase: Phase,
    pub objective: String,
    pub technique: String,
    /// Axis, and target with tolerance.
    pub conditions: Vec<(&'static str, String)>,
    pub criteria: Vec<String>,
    pub stop_criteria: Vec<String>,
    /// Code, channel, and what is allowed; the ones that the point names first.
    pub limits: Vec<(String, String, String)>,
    pub hazards: Vec<HazardLine>,
    pub crew: Vec<String>,
    pub most_on_board: u8,
    pub weather: Vec<String>,
    pub duration: String,
    pub energy: String,
    pub data: Vec<String>,
    pub configuration: Vec<String>,
    /// Under which a release was given, besides.
    pub release_conditions: Option<String>,
    pub digest: String,
}

impl CardShown {
    /// The card of a point with what is fitted now.
    pub fn of(state: &State, rung: &Rung) -> Result<Self, Problem> {
        let card = state.card(rung, true);
        let digest = digests::card(state, rung).map_err(Problem::unsignable)?;
        let point = &card.point;
        let mut limits: Vec<_> = card.limits.iter().collect();
        limits.sort_by_key(|it| !point.limits.contains(&it.code));
        let seat = |seat: &programme::nouns::CrewSeat| {
            let mut words = format!("{} × {}", seat.count, seat.role.in_words());
            words.push_str(if seat.on_board { ", on board" } else { ", on the ground" });
            for (place, held) in seat.qualifications.iter().enumerate() {
                words.push_str(if place == 0 { ", with " } else { ", " });
                words.push_str(held.as_str());
            }
            words
        };
        Ok(Self {
            code: point.code.clone(),
            title: point.title.clone(),
            phase: point.phase,
            objective: point.objective.clone(),
            technique: point.technique.clone(),
            conditions: point
                .conditions
                .iter()
                .map(|(at, it)| (axis(*at), condition(*it)))
                .collect(),
            criteria: point.criteria.iter().map(|it| criterion(state, it)).collect(),
            stop_criteria: point.stop_criteria.clone(),
            limits: limits
                .iter()
                .map(|it| (it.code.to_string(), channel_name(state, &it.channel), limit(it)))
                .collect(),
            hazards: card
                .hazards
                .iter()
                .map(|hazard| HazardLine {
                    code: hazard.code.to_string(),
                    title: hazard.title.clone(),
                    effect: hazard.effect.clone(),
                    mitigations: hazard.mitigations.clone(),
                    residual: hazard.after.map(|risk| {
                        format!("{}{}", risk.severity.number(), risk.probability.letter())
                    }),
                })
                .collect(),
            crew: point.crew.iter().map(seat).collect(),
            most_on_board: point.most_on_board,
            weather: weather(&point.weather),
            duration: figure(point.duration_min, Unit::Minute),
            energy: figure(point.energy_kwh, Unit::KilowattHour),
            data: point.data_required.iter().map(|code| channel_name(state, code)).collect(),
            configuration: card
                .configuration
                .iter()
                .flat_map(|fitted| fitted.iter().map(|(item, version)| format!("{item} {version}")))
                .collect(),
            release_conditions: rung
                .release
                .as_ref()
                .and_then(|release| release.conditions.clone()),
            digest: digest.to_string(),
        })
    }

    /// For a screen.
    pub fn on_screen(&self) -> Markup {
        self.body(true)
    }

    /// For paper: what is long and of use in a hangar only is left to the screen.
    pub fn on_paper(&self) -> Markup {
        self.body(false)
    }

    fn body(&self, on_screen: bool) -> Markup {
        html! {
            dl.card {
                dt { "Phase" } dd { (phase(self.phase)) ", planned " (self.duration) ", " (self.energy) " out of the pack" }
                dt { "Objective" } dd { (self.objective) }
                dt { "Conditions" } dd {
                    @if self.conditions.is_empty() { "None stated." }
                    ul.plain { @for (axis, target) in &self.conditions { li { (axis) " " strong { (target) } } } }
                }
                dt { "How" } dd.how { (self.technique) }
                dt.stop { "Stop at once if" } dd.stop {
                    ul { @for it in &self.stop_criteria { li { (it) } } }
                }
                dt { "Shows" } dd { ul.plain { @for it in &self.criteria { li { (it) } } } }
                dt.whole { "Limits" } dd.whole {
                    @if self.limits.is_empty() { "None in force." }
                    ul.plain.limits { @for (code, channel, allowed) in &self.limits { li { (channel) ": " strong { (allowed) } " " span.code { (code) } } } }
                }
                dt { "Crew" } dd {
                    @if self.crew.is_empty() { "None named; " } @else { ul.plain { @for it in &self.crew { li { (it) } } } }
                    "At most " (self.most_on_board) " on board."
                }
                dt { "Weather" } dd { @if self.weather.is_empty() { "No minima stated." } @else { (self.weather.join("; ")) "." } }
                dt { "Hazards" } dd {
                    @if self.hazards.is_empty() { "None named." }
                    ul.plain { @for hazard in &self.hazards { (hazard.item(on_screen)) } }
                }
                @if let Some(conditions) = &self.release_conditions { dt { "Released under" } dd { (conditions) } }
                dt { "Recorded" } dd { @if self.data.is_empty() { "Nothing required." } @else { (self.data.join("; ")) "." } }
                dt { "Fitted" } dd.fitted { @if self.configuration.is_empty() { "Nothing recorded." } @else { (self.configuration.join("; ")) "." } }
            }
        }
    }

    #[cfg(test)]
    pub fn sample(many: usize) -> Self {
        use crate::pages::tests::{codes, long};
        let lines = |text: &str| vec![long(text, many); many];
        Self {
            code: codes(1).remove(0),
            title: long("Taxi at 28 kt", many),
            phase: Phase::Taxi,
            objective: long("Show steering, brakes and ride at 28 kt.", many),
            technique: long("Accelerate gently, hold 10 s, lever to idle.", many),
            conditions: vec![("Speed", "28 kt ± 2 kt".to_owned()); many.min(13)],
            criteria: lines("Ground speed, greatest: from 26 kt to 30 kt"),
            stop_criteria: lines("Any red warning."),
            limits: vec![
                (
                    "L-ISO".to_owned(),
                    "Isolation".to_owned(),
                    long("at least 500 Ω/V", many)
                );
                many
            ],
            hazards: vec![
                HazardLine {
                    code: "H-BRAKE".to_owned(),
                    title: long("A brake fades", many),
                    effect: "The aircraft leaves the runway.".to_owned(),
                    mitigations: lines("Ten minutes between stops."),
                    residual: (many > 10).then(|| "3D".to_owned()),
                };
                many
            ],
            crew: lines("1 × test pilot, on board"),
            most_on_board: 1,
            weather: lines("wind at most 12 kt"),
            duration: "15 min".to_owned(),
            energy: "1.2 kWh".to_owned(),
            data: lines("Ground speed"),
            configuration: lines("motor 2"),
            release_conditions: (many > 10).then(|| long("Fire watch manned.", many)),
            digest: "9f86d081".repeat(8),
        }
    }
}

impl HazardLine {
    fn item(&self, whole: bool) -> Markup {
        html! {
            li {
                strong { (self.title) } " " span.code { (self.code) }
                @match &self.residual {
                    Some(residual) => { ", residual risk " strong { (residual) } }
                    None => { ", residual risk not judged" }
                }
                @if whole { p.source { (self.effect) } }
                ul.short { @for it in &self.mitigations { li { (it) } } }
            }
        }
    }
}
