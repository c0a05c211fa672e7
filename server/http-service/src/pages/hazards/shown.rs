//! What the pages of hazards show.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::{HazardCode, PointCode};
use programme::nouns::{AssessedRisk, Hazard, Probability, RiskLevel, Severity};
use programme::people::Act;
use programme::state::{Amendable, HazardState, State};

use super::matrix::{MatrixShown, probability, severity};
use crate::api::hazards::{HazardView, Lacking, hazard_view};
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::words::{counted, moment, person, roles};
use crate::problem::Problem;

/// A hazard in the list.
#[derive(Debug, Clone)]
pub(crate) struct HazardLine {
    pub code: HazardCode,
    pub title: String,
    pub before: String,
    pub after: Option<String>,
    pub lacks: Vec<&'static str>,
    pub accepted: Option<String>,
    pub points: usize,
}

/// The page with all hazards.
#[derive(Debug, Clone)]
pub(crate) struct HazardsPage {
    pub place: String,
    pub token: String,
    pub hazards: Vec<HazardLine>,
    pub matrix: Option<MatrixShown>,
    pub may_record: bool,
    pub trouble: Option<Trouble>,
}

/// A risk in words, with its level where a matrix tells it.
fn risk(risk: AssessedRisk, level: Option<RiskLevel>) -> String {
    let level =
        level.map_or_else(|| "level not known".to_owned(), |level| level.as_str().to_owned());
    format!("{level}: {}, {}", severity(risk.severity), probability(risk.probability))
}

const fn lacking(lacking: Lacking) -> &'static str {
    match lacking {
        Lacking::Mitigation => "nothing is done about it",
        Lacking::Judgement => "the risk that is left was not judged",
        Lacking::RiskMatrix => "the programme has no matrix of risk",
        Lacking::AcceptableLevel => "nobody may accept a risk of this level",
        Lacking::Acceptance => "the risk that is left is not accepted",
    }
}

fn points_of(state: &State, code: &HazardCode) -> Vec<PointCode> {
    let naming = state.ladder.rungs().iter().filter(|rung| rung.point.hazards.contains(code));
    naming.map(|rung| rung.point.code.clone()).collect()
}

fn accepted(state: &State, seen: &HazardView<'_>) -> Option<(String, DateTime<Utc>, bool)> {
    let it = seen.accepted.as_ref()?;
    let told = format!("{}, {}, level {}", person(state, it.by), roles(it.roles), it.level);
    Some((told, it.at, seen.digest.as_ref() == Some(it.digest)))
}

/// Those that hold points come first, since they are what is to be done.
fn holding_first(mut hazards: Vec<HazardLine>) -> Vec<HazardLine> {
    hazards.sort_by_key(|it| it.lacks.is_empty());
    hazards
}

impl HazardsPage {
    pub fn of<P>(
        member: &Member<P>,
        state: &State,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let line = |known: &HazardState| -> Result<HazardLine, Problem> {
            let seen = hazard_view(state, known)?;
            Ok(HazardLine {
                code: seen.hazard.code.clone(),
                title: seen.hazard.title.clone(),
                before: risk(seen.hazard.before, seen.level_before),
                after: seen.hazard.after.map(|it| risk(it, seen.level_after)),
                lacks: seen.lacks.iter().map(|it| lacking(*it)).collect(),
                accepted: accepted(state, &seen).filter(|it| it.2).map(|it| it.0),
                points: points_of(state, &seen.hazard.code).len(),
            })
        };
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            hazards: holding_first(
                state.hazards.values().map(line).collect::<Result<_, Problem>>()?,
            ),
            matrix: state.policy.as_ref().map(|policy| MatrixShown::of(&policy.risk)),
            may_record: member.may(Act::RecordHazards),
            trouble,
        })
    }

    pub fn body(&self) -> Markup {
        let to = format!("{}/hazards", self.place);
        let draft = Draft::new("hazard", &to, &self.token, self.trouble.as_ref());
        let lacking = self.hazards.iter().filter(|it| !it.lacks.is_empty()).count();
        html! {
            h1 { "Hazards" }
            p.lead { (lacking) " of " (counted(self.hazards.len(), "hazard", "hazards")) " hold the points that name them." }
            section {
                h2 #all { "All hazards, those that hold first" }
                @if self.hazards.is_empty() { p { "None is recorded yet. A point that names a hazard is held until it is." } }
                ul.cards {
                    @for it in &self.hazards {
                        li {
                            a href={ (self.place) "/hazards/" (it.code) } { (it.code) " " (it.title) }
                            p { "Before: " (it.before) }
                            p { "Left: " @match &it.after { Some(after) => { strong { (after) } } None => { "not judged" } } }
                            @for it in &it.lacks { p.warn { (it) } }
                            p.source { @if let Some(by) = &it.accepted { "Accepted by " (by) " · " } (counted(it.points, "point names", "points name")) " it" }
                        }
                    }
                }
            }
            section {
                h2 #matrix { "Matrix of risk" }
                @match &self.matrix { Some(matrix) => { (matrix.shown()) } None => { p.warn { "The policy of the programme has none, so that no risk can be accepted." } } }
            }
            @if self.may_record {
                section {
                    h2 #new { "Record a hazard" }
                    details open[self.trouble.is_some()] { summary { "A hazard that is not listed" } (Written::empty().form(&draft, None)) }
                }
            } @else { p { "Recording hazards is for " (Act::RecordHazards.allowed_in_words()) "." } }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            hazards: (0..many)
                .map(|place| HazardLine {
                    code: HazardCode::new(&format!("HZ-{place}")).unwrap(),
                    title: long("Thermal runaway in the pack", many),
                    before: "high: catastrophic, occasional".to_owned(),
                    after: (place % 2 == 0).then(|| "medium: catastrophic, improbable".to_owned()),
                    lacks: vec!["the risk that is left is not accepted"; place % 3],
                    accepted: Some(long("Sofia", many)),
                    points: many,
                })
                .collect(),
            matrix: (many > 0).then(|| MatrixShown::sample(many)),
            may_record: true,
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}

/// What people write of a hazard.
#[derive(Debug, Clone)]
pub(crate) struct Written {
    pub code: String,
    pub title: String,
    pub cause: String,
    pub effect: String,
    pub before: Option<AssessedRisk>,
    pub mitigations: Vec<String>,
    pub after: Option<AssessedRisk>,
}

impl Written {
    const fn empty() -> Self {
        Self {
            code: String::new(),
            title: String::new(),
            cause: String::new(),
            effect: String::new(),
            before: None,
            mitigations: Vec::new(),
            after: None,
        }
    }

    fn of(hazard: &Hazard) -> Self {
        Self {
            code: hazard.code.to_string(),
            title: hazard.title.clone(),
            cause: hazard.cause.clone(),
            effect: hazard.effect.clone(),
            before: Some(hazard.before),
            mitigations: hazard.mitigations.clone(),
            after: hazard.after,
        }
    }

    /// The form; of a hazard that is there with the record that the person saw.
    fn form(&self, draft: &Draft<'_>, revision: Option<u64>) -> Markup {
        let words = |none: &str, all: Vec<&'static str>| -> Vec<(String, String)> {
            let first = (String::new(), none.to_owned());
            std::iter::once(first)
                .chain(all.into_iter().map(|it| (it.to_owned(), it.to_owned())))
                .collect()
        };
        let severities = |none| words(none, Severity::ALL.map(severity).to_vec());
        let probabilities = |none| words(none, Probability::ALL.map(probability).to_vec());
        let of = |risk: Option<AssessedRisk>| {
            risk.map_or(("", ""), |it| (severity(it.severity), probability(it.probability)))
        };
        let (before, after) = (of(self.before), of(self.after));
        draft.form(html! {
            @match revision {
                Some(revision) => { (draft.hidden("code", &self.code)) (draft.hidden("form.revision", revision)) }
                None => { (draft.line("code", "Code", "Such as HZ-12.", "")) }
            }
            (draft.line("title", "What can happen", "", &self.title))
            (draft.text_with("cause", "By what", "", &self.cause))
            (draft.text_with("effect", "With what effect", "", &self.effect))
            fieldset {
                legend { "Risk before anything is done about it" }
                (draft.choice("before.severity", "Severity", "", before.0, &severities("choose")))
                (draft.choice("before.probability", "Probability", "", before.1, &probabilities("choose")))
            }
            (draft.text_with("form.mitigations", "What is done about it", "One a line.", &self.mitigations.join("\n")))
            fieldset {
                legend { "Risk that is left" }
                (draft.choice("after.severity?", "Severity", "", after.0, &severities("not judged yet")))
                (draft.choice("after.probability?", "Probability", "", after.1, &probabilities("not judged yet")))
            }
            (draft.send(if revision.is_some() { "Record it so from now on" } else { "Record the hazard" }))
        })
    }
}

/// The page of one hazard.
#[derive(Debug, Clone)]
pub(crate) struct HazardPage {
    pub place: String,
    pub token: String,
    pub written: Written,
    pub before: String,
    pub after: Option<String>,
    pub lacks: Vec<&'static str>,
    pub recorded_by: String,
    pub record: u64,
    pub revision: u64,
    /// Told, when, and whether it is of the hazard as it is now.
    pub accepted: Option<(String, DateTime<Utc>, bool)>,
    /// The roles that may accept what is left.
    pub acceptable_by: String,
    pub digest: Option<String>,
    pub points: Vec<PointCode>,
    pub may_record: bool,
    pub may_accept: bool,
    pub trouble: Option<Trouble>,
}

impl HazardPage {
    pub fn of<P>(
        member: &Member<P>,
        state: &State,
        code: &HazardCode,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let known = state.hazards.get(code).ok_or_else(|| Problem::unknown("hazard", code))?;
        let seen = hazard_view(state, known)?;
        let fits = seen.accepted_by_roles.iter().any(|it| member.programme.roles.contains(it));
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            written: Written::of(seen.hazard),
            before: risk(seen.hazard.before, seen.level_before),
            after: seen.hazard.after.map(|it| risk(it, seen.level_after)),
            lacks: seen.lacks.iter().map(|it| lacking(*it)).collect(),
            recorded_by: person(state, seen.recorded_by),
            record: seen.seq,
            revision: state.revision(&Amendable::Hazard(code.clone())),
            accepted: accepted(state, &seen),
            acceptable_by: roles(&seen.accepted_by_roles),
            digest: seen.digest.as_ref().map(ToString::to_string),
            points: points_of(state, code),
            may_record: member.may(Act::RecordHazards),
            may_accept: fits && member.may(Act::AcceptRisk),
            trouble,
        })
    }

    pub fn body(&self) -> Markup {
        let it = &self.written;
        html! {
            h1 { (it.code) " " (it.title) }
            p.lead { "Left: " @match &self.after { Some(after) => { strong { (after) } } None => { strong { "not judged" } } } "." }
            @for it in &self.lacks { p.warn { (it) ". Points that name it are held." } }
            dl.pairs {
                dt { "By what" } dd.prose { (it.cause) }
                dt { "Effect" } dd.prose { (it.effect) }
                dt { "Before" } dd { (self.before) }
                dt { "Done about it" } dd { @if it.mitigations.is_empty() { "nothing yet" } ul { @for it in &it.mitigations { li { (it) } } } }
                dt { "Named by" } dd {
                    @if self.points.is_empty() { "no point" }
                    @for (place, code) in self.points.iter().enumerate() { @if place > 0 { ", " } a href={ (self.place) "/points/" (code) } { (code) } }
                }
                dt { "Recorded" } dd { "by " (self.recorded_by) ", record no. " (self.record) }
            }
            section { h2 #accept { "Acceptance of what is left" } (self.accepting()) }
            section { h2 #judge { "Judge it anew" } (self.judging()) }
            p { a href={ (self.place) "/hazards" } { "All hazards" } }
        }
    }

    fn accepting(&self) -> Markup {
        let to = format!("{}/hazards/{}/acceptance", self.place, self.written.code);
        let draft = Draft::new("accept", &to, &self.token, self.trouble.as_ref());
        let stands = self.accepted.as_ref().is_some_and(|it| it.2);
        html! {
            @if let Some((by, at, stands)) = &self.accepted {
                p { "Accepted by " (by) ", " (moment(*at)) @if !stands { ", " strong { "and changed since, so that it does not stand any more" } } "." }
            }
            @match &self.digest {
                None => { p { "Judge the risk that is left first." } }
                Some(_) if stands => {}
                Some(_) if self.acceptable_by.is_empty() => { p { "Nobody may accept a risk of this level: do more about it." } }
                Some(_) if !self.may_accept => { p { "At this level it is for: " (self.acceptable_by) "." } }
                Some(digest) => {
                    p { "You sign the hazard as it stands above, with what is done about it, digest " code.digest { (digest) } "." }
                    (draft.form(html! {
                        (draft.hidden("digest", digest))
                        (draft.secret())
                        (draft.send("Accept the risk that is left"))
                    }))
                }
            }
        }
    }

    fn judging(&self) -> Markup {
        let to = format!("{}/hazards", self.place);
        let draft = Draft::new("hazard", &to, &self.token, self.trouble.as_ref());
        let refused = self.trouble.as_ref().is_some_and(|it| it.form == "hazard");
        html! {
            @if self.may_record {
                details open[refused] { summary { "Other causes, more done about it, another risk" } p { "The acceptance of how it was does not stand then." } (self.written.form(&draft, Some(self.revision))) }
            } @else { p { "That is for " (Act::RecordHazards.allowed_in_words()) "." } }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            written: Written {
                code: "HZ-03".to_owned(),
                title: long("Thermal runaway in the pack", many),
                cause: long("Internal short.", many),
                effect: long("Fire.", many),
                before: None,
                mitigations: vec![long("Watched.", many); many],
                after: None,
            },
            before: "high".to_owned(),
            after: (many > 0).then(|| "medium".to_owned()),
            lacks: vec!["nothing is done about it"; many.min(3)],
            recorded_by: "Tomas".to_owned(),
            record: 12,
            revision: 12,
            accepted: (many > 0).then(|| (long("Sofia", many), DateTime::UNIX_EPOCH, false)),
            acceptable_by: "safety officer".to_owned(),
            digest: (many > 0).then(|| "9f86d081".repeat(8)),
            points: codes(many),
            may_record: true,
            may_accept: true,
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
