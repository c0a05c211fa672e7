//! What people type in for a day: the window, the weather by the hour, energy, what heats, and who is there.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use flight_science::charging::Taper;
use flight_science::sun::Place;
use flight_science::sunlight::Panel;
use quantities::{Angle, Length, Power};
use serde::{Deserialize, Serialize};

use super::physics::STEP_MIN;
use crate::codes::{PersonHandle, PointCode, ReductionNumber};
use crate::nouns::judging::Judging;
use crate::nouns::{Phase, WeatherObservation};
use crate::refusal::Fault;
use crate::state::State;

/// Where the field is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = FieldPlace)]
pub struct Field {
    /// Latitude in degrees, north positive.
    pub latitude_deg: f64,
    /// Longitude in degrees, east positive.
    pub longitude_deg: f64,
    /// Height above sea level, in metres.
    pub elevation_m: f64,
}

impl Field {
    pub(super) fn place(self) -> Place {
        Place {
            latitude: Angle::from_degrees(self.latitude_deg),
            longitude: Angle::from_degrees(self.longitude_deg),
            elevation: Length::from_metres(self.elevation_m),
        }
    }
}

/// Weather as it is expected for an hour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HourOfWeather {
    /// From then on, for an hour or until the next.
    pub from: DateTime<Utc>,
    /// Cloud cover from 0 to 1.
    pub cloud: f64,
    /// Everything that points can have minima for. What is not told never meets a minimum.
    pub weather: WeatherObservation,
}

/// The aircraft's pack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PackOfDay {
    /// Energy from empty to full, in kilowatt-hours.
    pub usable_kwh: f64,
    /// Charge state at the beginning, 0 to 1.
    pub state: f64,
    /// What stays in it after each run, 0 to 1.
    pub least_state: f64,
    /// Rows of charge state and the most power that it takes there, in kilowatts; none: no bound.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub taper: Vec<[f64; 2]>,
}

/// Solar panels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PanelsOfDay {
    /// From level: 0 lies flat, 90 stands.
    pub tilt_deg: f64,
    /// Where they face, clockwise from true north, in degrees.
    pub azimuth_deg: f64,
    /// Power at 1 000 W/m² with cells at 25 °C, in kilowatts.
    pub peak_kw: f64,
}

impl PanelsOfDay {
    /// With the usual change with temperature, losses and warming, as the topic `sunlight` has them.
    pub(super) fn panel(self) -> Panel {
        Panel {
            tilt: Angle::from_degrees(self.tilt_deg),
            azimuth: Angle::from_degrees(self.azimuth_deg),
            peak: Power::from_kilowatts(self.peak_kw),
            per_kelvin: -0.004,
            losses: 0.14,
            rise_at_800_k: 25.0,
        }
    }
}

/// A battery on the ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GroundBatteryOfDay {
    /// Energy from empty to full, in kilowatt-hours.
    pub usable_kwh: f64,
    /// Charge state at the beginning, 0 to 1.
    pub state: f64,
    /// What stays in it, 0 to 1.
    pub least_state: f64,
    /// The most that it gives or takes, in kilowatts.
    pub power_kw: f64,
}

/// What charges the pack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChargingOfDay {
    /// The most that the charger gives into the pack, in kilowatts; 0: nothing charges.
    pub charger_kw: f64,
    /// Of the charger, from its input to the pack, above 0.1 up to 1.
    pub efficiency: f64,
    /// Power of the mains, of all its phases, in kilowatts; 0: there are none.
    #[serde(default)]
    pub mains_kw: f64,
    /// Panels; absent: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panels: Option<PanelsOfDay>,
    /// A battery on the ground; absent: none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ground_battery: Option<GroundBatteryOfDay>,
}

/// A part that runs heat, as a thermal fit of recordings tells it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HeatingPart {
    /// What it is.
    pub name: String,
    /// Time in which a difference falls to 1/e, in minutes.
    pub time_constant_min: f64,
    /// Rise over the air for each kilowatt out of the pack, in the long run.
    pub rise_c_per_kw: f64,
    /// How warm it is at the beginning.
    pub begins_c: f64,
    /// How warm it may become in a run.
    pub most_c: f64,
    /// The reductions that its figures come from; none: they were typed in by hand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rests_on: Vec<ReductionNumber>,
}

/// A person of the day's crew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrewOfDay {
    /// Who.
    pub person: PersonHandle,
    /// On duty from then on.
    pub from: DateTime<Utc>,
    /// Up to then.
    pub to: DateTime<Utc>,
    /// The most minutes of runs on board in the day; absent: no bound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub most_on_board_min: Option<f64>,
}

/// All that a day's plan rests on, besides the ladder.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DayTerms {
    /// From then on runs can be made; of a day that has begun, from when on it is planned anew.
    pub from: DateTime<Utc>,
    /// By then the last run is over.
    pub to: DateTime<Utc>,
    /// The field, for its civil twilight and its sun.
    pub field: Field,
    /// The weather as it is expected, in the order of time.
    #[serde(default)]
    pub weather: Vec<HourOfWeather>,
    /// The pack.
    pub pack: PackOfDay,
    /// What charges it.
    pub charging: ChargingOfDay,
    /// Parts that heat; none: nothing has to cool down.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<HeatingPart>,
    /// Minutes of set-up before a run, by phase; absent: none.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub set_up_min: BTreeMap<Phase, u32>,
    /// Minutes after a run before anything else is done with the aircraft.
    #[serde(default)]
    pub turn_round_min: u32,
    /// Minutes from the end of a run to where its result is accepted by two people.
    pub acceptance_min: u32,
    /// Who is there.
    pub crew: Vec<CrewOfDay>,
    /// The most runs of the day.
    pub most_runs: u32,
    /// How much the lead wants single points, from 0 to 10; 0 where absent.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub priorities: BTreeMap<PointCode, f64>,
    /// Points that are not to be run: what was not met today, and what the team does not want.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub without: BTreeSet<PointCode>,
}

/// The longest window.
const LONGEST_H: i64 = 24;

impl DayTerms {
    pub(super) fn taper(&self) -> Option<Taper> {
        let row = |[state, kw]: &[f64; 2]| (*state, Power::from_kilowatts(*kw));
        Taper::new(self.pack.taper.iter().map(row).collect())
    }

    /// Everything that is wrong with it; empty where nothing is.
    pub fn faults(&self, state: &State) -> Vec<Fault> {
        let mut judging = Judging::of("");
        let minutes = (self.to - self.from).num_minutes();
        judging.must(
            (i64::from(STEP_MIN)..=LONGEST_H * 60).contains(&minutes),
            "to",
            format!("is {minutes} minutes after from; a window of {STEP_MIN} minutes to {LONGEST_H} hours is wanted"),
        );
        self.judge_place_and_weather(&mut judging);
        self.judge_energy(&mut judging);
        for (place, part) in self.parts.iter().enumerate() {
            let field = |name: &str| format!("parts[{place}].{name}");
            judging.title(&field("name"), &part.name);
            within(
                &mut judging,
                &field("time_constant_min"),
                part.time_constant_min,
                0.1,
                10_000.0,
            );
            within(&mut judging, &field("rise_c_per_kw"), part.rise_c_per_kw, 0.0, 1_000.0);
            within(&mut judging, &field("begins_c"), part.begins_c, -60.0, 500.0);
            within(&mut judging, &field("most_c"), part.most_c, -60.0, 500.0);
            for number in &part.rests_on {
                judging.must(
                    state.recordings.reduction(*number).is_some(),
                    &field("rests_on"),
                    format!("names reduction {number}, which is not there: take it out, or name one of this programme"),
                );
            }
        }
        judging.must(
            self.parts.len() <= 8,
            "parts",
            "has more than the 8 parts that are looked at",
        );
        for (phase, set_up) in &self.set_up_min {
            judging.must(
                *set_up <= 1_440,
                &format!("set_up_min.{phase}"),
                "must be at most 1440 minutes",
            );
        }
        judging.must(
            self.turn_round_min <= 1_440,
            "turn_round_min",
            "must be at most 1440 minutes",
        );
        judging.must(
            self.acceptance_min <= 1_440,
            "acceptance_min",
            "must be at most 1440 minutes",
        );
        judging.must((1..=50).contains(&self.most_runs), "most_runs", "must be from 1 to 50");
        self.judge_crew(state, &mut judging);
        for (code, priority) in &self.priorities {
            let field = format!("priorities.{code}");
            within(&mut judging, &field, *priority, 0.0, 10.0);
            judging.must(state.rung(code).is_some(), &field, "is for no point of the programme");
        }
        for code in &self.without {
            let why = format!("names {code}, which is no point of the programme");
            judging.must(state.rung(code).is_some(), "without", why);
        }
        judging.done()
    }

    fn judge_place_and_weather(&self, judging: &mut Judging<'_>) {
        within(judging, "field.latitude_deg", self.field.latitude_deg, -90.0, 90.0);
        within(judging, "field.longitude_deg", self.field.longitude_deg, -180.0, 180.0);
        within(judging, "field.elevation_m", self.field.elevation_m, -500.0, 4_000.0);
        judging.must(
            !self.weather.is_empty(),
            "weather",
            "has no hour; weather that nobody has told does for no run, so nothing could be planned",
        );
        judging.must(self.weather.len() <= 96, "weather", "has more than 96 rows");
        let goes_up = self.weather.windows(2).all(|pair| pair[0].from < pair[1].from);
        judging.must(
            goes_up,
            "weather",
            "has hours that do not go up from row to row; sort them, each once",
        );
        for (place, hour) in self.weather.iter().enumerate() {
            within(judging, &format!("weather[{place}].cloud"), hour.cloud, 0.0, 1.0);
            for fault in hour.weather.faults(&format!("weather[{place}].weather")) {
                judging.fault(&fault.field, fault.why);
            }
        }
    }

    fn judge_energy(&self, judging: &mut Judging<'_>) {
        let PackOfDay { usable_kwh, state, least_state, .. } = self.pack;
        within(judging, "pack.usable_kwh", usable_kwh, 0.01, 10_000.0);
        within(judging, "pack.state", state, 0.0, 1.0);
        within(judging, "pack.least_state", least_state, 0.0, 1.0);
        let has_taper = !self.pack.taper.is_empty();
        judging.must(
            !has_taper || self.taper().is_some(),
            "pack.taper",
            "must have charge states from 0 to 1 that go up from row to row, with powers of at least 0",
        );
        // Otherwise a fuller pack could be behind an emptier one a step later.
        let too_steep = self.pack.taper.windows(2).any(|pair| {
            (pair[0][1] - pair[1][1]) * f64::from(STEP_MIN) / 60.0
                > (pair[1][0] - pair[0][0]) * usable_kwh
        });
        let rises = self.pack.taper.windows(2).any(|pair| pair[1][1] > pair[0][1]);
        judging.must(
            !too_steep && !rises,
            "pack.taper",
            format!("must not rise, nor fall by more than what charges that stretch in {STEP_MIN} minutes; give it fewer, wider rows"),
        );
        let charging = &self.charging;
        within(judging, "charging.charger_kw", charging.charger_kw, 0.0, 10_000.0);
        within(judging, "charging.efficiency", charging.efficiency, 0.1, 1.0);
        within(judging, "charging.mains_kw", charging.mains_kw, 0.0, 10_000.0);
        if let Some(panels) = charging.panels {
            within(judging, "charging.panels.tilt_deg", panels.tilt_deg, 0.0, 90.0);
            within(judging, "charging.panels.azimuth_deg", panels.azimuth_deg, 0.0, 360.0);
            within(judging, "charging.panels.peak_kw", panels.peak_kw, 0.0, 10_000.0);
        }
        if let Some(ground) = charging.ground_battery {
            within(
                judging,
                "charging.ground_battery.usable_kwh",
                ground.usable_kwh,
                0.01,
                10_000.0,
            );
            within(judging, "charging.ground_battery.state", ground.state, 0.0, 1.0);
            within(judging, "charging.ground_battery.least_state", ground.least_state, 0.0, 1.0);
            within(judging, "charging.ground_battery.power_kw", ground.power_kw, 0.0, 10_000.0);
        }
    }

    fn judge_crew(&self, state: &State, judging: &mut Judging<'_>) {
        judging.must(
            !self.crew.is_empty(),
            "crew",
            "is empty; with nobody there nothing can be run",
        );
        let people: Vec<_> = self.crew.iter().map(|member| member.person.clone()).collect();
        judging.no_repeats("crew", &people);
        for (place, member) in self.crew.iter().enumerate() {
            let field = |name: &str| format!("crew[{place}].{name}");
            let is_listed = state.people.get(&member.person).is_some_and(|it| !it.roles.is_empty());
            judging.must(
                is_listed,
                &field("person"),
                format!("{} is not listed in this programme", member.person),
            );
            judging.must(member.from < member.to, &field("to"), "must be after from");
            if let Some(minutes) = member.most_on_board_min {
                within(judging, &field("most_on_board_min"), minutes, 0.0, 1_440.0);
            }
        }
    }

    /// The weather that is expected at a moment; none where nobody has told it.
    pub(super) fn weather_at(&self, at: DateTime<Utc>) -> Option<&HourOfWeather> {
        let after = self.weather.partition_point(|hour| hour.from <= at);
        let hour = self.weather.get(after.checked_sub(1)?)?;
        (at < hour.from + TimeDelta::hours(1)).then_some(hour)
    }
}

fn within(judging: &mut Judging<'_>, field: &str, figure: f64, least: f64, most: f64) {
    judging.must(
        (least..=most).contains(&figure),
        field,
        format!("must be from {least} to {most}, and {figure} was given"),
    );
}
