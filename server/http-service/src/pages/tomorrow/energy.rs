//! How many runs the energy of a planned day allows, and from which source.

use actix_web::http::StatusCode;
use chrono::{DateTime, Utc};
use maud::{Markup, PreEscaped, html};
use programme::codes::DayPlanNumber;
use programme::day_plan::{EnergyMoment, RunsFromSources};
use programme::state::ProposedDay;
use serde::Deserialize;

use super::shown::clock;
use crate::access::Read;
use crate::api::day_energy::{LikeRun, of_day};
use crate::api::day_plans::known;
use crate::desk::Answer;
use crate::given::{At, Number, Query};
use crate::office::Office;
use crate::pages::around::Section;
use crate::pages::door::Member;
use crate::pages::form::Draft;
use crate::pages::told::Told;
use crate::pages::words::moment;
use crate::picture::{EnergyPicture, draw_energy};

/// The run that somebody asks for; what is left out is as the plan's first run has it.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct AskedRun {
    energy_kwh: Option<f64>,
    run_min: Option<f64>,
    set_up_min: Option<f64>,
}

fn minutes(from: DateTime<Utc>, to: DateTime<Utc>) -> f64 {
    (to - from).num_minutes() as f64
}

impl AskedRun {
    /// The whole run; none where something is left out and the plan has no run to take it from.
    fn like(self, proposed: &ProposedDay) -> Option<LikeRun> {
        let first = proposed.day.runs.first();
        Some(LikeRun {
            energy_kwh: self.energy_kwh.or_else(|| Some(first?.energy_kwh))?,
            run_min: self
                .run_min
                .or_else(|| first.map(|run| minutes(run.begins_at, run.ends_at)))?,
            set_up_min: self
                .set_up_min
                .or_else(|| first.map(|run| minutes(run.set_up_at, run.begins_at)))?,
        })
    }
}

/// What a day's energy allows, as the page shows it.
#[derive(Debug, Clone)]
pub(crate) struct Allowed {
    pub rows: Vec<RunsFromSources>,
    pub begins: Vec<DateTime<Utc>>,
    /// At the end of the day.
    pub last: Option<EnergyMoment>,
    /// As SVG.
    pub picture: String,
}

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct EnergyPage {
    pub place: String,
    pub plan: DayPlanNumber,
    pub from: DateTime<Utc>,
    pub to: DateTime<Utc>,
    /// Absent: the plan has no run, and nobody has said one.
    pub run: Option<LikeRun>,
    /// Absent without a run.
    pub allowed: Option<Result<Allowed, Told>>,
}

impl EnergyPage {
    fn body(&self) -> Markup {
        html! {
            h1 { "Energy of the day" }
            p { "Of " a href={ (self.place) "/tomorrow/" (self.plan) } { "plan " (self.plan) } ", " (moment(self.from)) " to " (moment(self.to)) "." }
            @match &self.allowed {
                None => { p.lead { "The plan has no run to begin with: say below what a run takes." } }
                Some(Ok(allowed)) => { (Self::told(allowed)) }
                Some(Err(told)) => { (told.part()) }
            }
            (self.asking())
        }
    }

    fn told(allowed: &Allowed) -> Markup {
        html! {
            p.lead { @match allowed.rows.last() { Some(all) => { strong { (all.runs) } " such runs with all sources." } None => "No source is told." } }
            div.picture.chart tabindex="0" role="region" aria-label="Energy in the pack and from each source over the day" { (PreEscaped(&allowed.picture)) }
            table.sums {
                caption { "Runs that energy, cooling and daylight allow, with one source more in each row" }
                thead { tr { th scope="col" { "With" } th scope="col" { "Runs" } } }
                tbody { @for row in &allowed.rows { tr { th scope="row" { (row.sources) } td { (row.runs) } } } }
            }
            @if !allowed.begins.is_empty() {
                p { "With all sources they begin at " (allowed.begins.iter().map(|at| clock(*at)).collect::<Vec<_>>().join(", ")) " UTC." }
            }
            @if let Some(last) = &allowed.last {
                p {
                    (format!("By the end {:.1} kWh came from the panels, {:.1} kWh from the battery on the ground and {:.1} kWh from the mains; {:.1} kWh are in the pack.",
                        last.panels_kwh, last.ground_battery_kwh, last.mains_kwh, last.pack_kwh))
                }
            }
            p.source { "Energy, cooling and daylight are looked at, and neither weather, crews nor releases: it is no plan." }
        }
    }

    fn asking(&self) -> Markup {
        let to = format!("{}/tomorrow/{}/energy", self.place, self.plan);
        let ask = Draft::new("energy", &to, "", None);
        html! {
            section {
                h2 #ask { "Another run" }
                (ask.asks(html! {
                    div.beside {
                        (ask.figure_with("energy_kwh", "Out of the pack", "", "kWh", self.run.map(|run| run.energy_kwh)))
                        (ask.figure_with("run_min", "How long", "", "min", self.run.map(|run| run.run_min)))
                        (ask.figure_with("set_up_min", "Set-up before it", "", "min", self.run.map(|run| run.set_up_min)))
                    }
                    (ask.send("How many are there?"))
                }))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| {
            let row = RunsFromSources { sources: long("and the mains", many), runs: 3 };
            let moment = EnergyMoment {
                at: DateTime::UNIX_EPOCH,
                pack_kwh: 12.0,
                panels_kwh: 1.0,
                ground_battery_kwh: 0.0,
                mains_kwh: 8.0,
            };
            Self {
                place: "/programmes/tug".to_owned(),
                plan: DayPlanNumber(1),
                from: DateTime::UNIX_EPOCH,
                to: DateTime::UNIX_EPOCH,
                run: Some(LikeRun { energy_kwh: 3.0, run_min: 15.0, set_up_min: 20.0 }),
                allowed: Some(Ok(Allowed {
                    rows: vec![row; many],
                    begins: vec![DateTime::UNIX_EPOCH; many],
                    last: (many > 0).then_some(moment),
                    picture: "<svg></svg>".to_owned(),
                })),
            }
        };
        let refused = Self { allowed: Some(Err(Told::default())), ..page(0) };
        let no_run = Self { run: None, allowed: None, ..page(0) };
        vec![
            ("ordinary", page(4).body()),
            ("empty", page(0).body()),
            ("refused", refused.body()),
            ("without a run", no_run.body()),
            ("worst case", page(40).body()),
        ]
    }
}

/// The page.
pub(crate) async fn show_energy(
    member: Member<Read>,
    plan: At<Number<DayPlanNumber>>,
    asked: Query<AskedRun>,
    office: Office,
) -> Answer {
    let number = plan.0.0;
    let (page, status) = member
        .look(&office, |view| {
            let proposed = known(view.state, number)?;
            let run = asked.like(proposed);
            let found = run.map(|run| of_day(view.state, number, run));
            let status = match &found {
                Some(Err(problem)) => problem.status(),
                Some(Ok(_)) | None => StatusCode::OK,
            };
            let allowed = match found {
                None => None,
                Some(Err(problem)) => Some(Err(Told::of(&problem))),
                Some(Ok(energy)) => Some(Ok(Allowed {
                    picture: draw_energy(&EnergyPicture {
                        programme: &view.state.title,
                        energy: &energy,
                    }),
                    rows: energy.allowed,
                    begins: energy.begins,
                    last: energy.over_the_day.last().copied(),
                })),
            };
            let (from, to) = (proposed.terms.from, proposed.terms.to);
            let place = member.place("");
            Ok((EnergyPage { place, plan: number, from, to, run, allowed }, status))
        })
        .await?;
    Ok(member.around("Energy of the day", Section::Tomorrow).reply(status, page.body()))
}
