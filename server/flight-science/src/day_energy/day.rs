//! A day on the ground, minute by minute: who charges whom, and when there is enough for a run.

use crate::charging::Taper;

/// What can give energy to the pack, besides what is in it in the morning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sources {
    /// Solar panels.
    pub panels: bool,
    /// The battery on the ground.
    pub ground: bool,
    /// The mains.
    pub mains: bool,
}

/// A store of energy, in kilowatt-hours and kilowatts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Store {
    /// From empty to full.
    pub usable_kwh: f64,
    /// What is in it in the morning.
    pub begins_kwh: f64,
    /// What stays in it.
    pub least_kwh: f64,
    /// The most that it gives or takes.
    pub power_kw: f64,
}

/// All that a day rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Day {
    /// Power of the panels, by minute of the window; as long as the window.
    pub panels_kw: Vec<f64>,
    /// The aircraft's pack; its power is that of the charger's output.
    pub pack: Store,
    /// What the pack takes at a charge state; no bound when absent.
    pub taper: Option<Taper>,
    /// The battery on the ground.
    pub ground: Option<Store>,
    /// Power of the mains.
    pub mains_kw: f64,
    /// Of the charger, from its input to the pack.
    pub efficiency: f64,
    /// Energy of a run.
    pub run_kwh: f64,
    /// How long a run takes.
    pub run_min: usize,
    /// How long the aircraft stands after a run before the next; it charges in that time.
    pub turn_round_min: usize,
}

/// How the day went.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Went {
    /// The minutes at which runs began.
    pub began: Vec<usize>,
    /// Into the pack from the panels, straight.
    pub from_panels_kwh: f64,
    /// Into the pack from the battery on the ground.
    pub from_ground_kwh: f64,
    /// Into the pack from the mains.
    pub from_mains_kwh: f64,
    /// From the panels, with all that found no place.
    pub harvest_kwh: f64,
    /// Of the harvest: what found no place.
    pub spilt_kwh: f64,
    /// Energy in the pack and in the battery on the ground, after each minute.
    pub stored_kwh: Vec<[f64; 2]>,
}

/// Rounding of sums, in kilowatt-hours, that is no lack of energy.
const DUST_KWH: f64 = 1.0e-9;

/// Plays the day: a run begins as soon as the pack has its energy above what stays in it, the aircraft has stood for its
/// turn-round, and it can land inside the window. Between runs the pack takes from the panels first, then from the battery
/// on the ground, then from the mains; what the panels give beyond goes to the battery on the ground.
pub fn play(day: &Day, sources: Sources) -> Went {
    const HOURS: f64 = 1.0 / 60.0;
    let window = day.panels_kw.len();
    let mut pack_kwh = day.pack.begins_kwh;
    let ground = day.ground.filter(|_| sources.ground);
    let mut ground_kwh = ground.map_or(0.0, |ground| ground.begins_kwh);
    let (mut flies_until, mut ready_at) = (0, 0);
    let mut went = Went::default();
    for (minute, panels_kw) in day.panels_kw.iter().enumerate() {
        let enough = pack_kwh + DUST_KWH >= day.run_kwh + day.pack.least_kwh;
        if minute >= ready_at && enough && minute + day.run_min <= window {
            went.began.push(minute);
            flies_until = minute + day.run_min;
            ready_at = flies_until + day.turn_round_min;
        }
        let mut sun_kwh = if sources.panels { panels_kw * HOURS } else { 0.0 };
        went.harvest_kwh += sun_kwh;
        let ground_may_kwh = ground.map_or(0.0, |ground| {
            (ground.power_kw * HOURS).min((ground_kwh - ground.least_kwh).max(0.0))
        });
        if minute < flies_until {
            pack_kwh -= day.run_kwh / day.run_min as f64;
        } else {
            let state = pack_kwh / day.pack.usable_kwh;
            let takes_kw =
                day.taper.as_ref().map_or(f64::INFINITY, |taper| taper.at(state).kilowatts());
            let room_kwh = (day.pack.usable_kwh - pack_kwh).max(0.0);
            let mut wants_kwh =
                (takes_kw.min(day.pack.power_kw) * HOURS).min(room_kwh) / day.efficiency;
            let mut take = |may_kwh: f64| {
                let given_kwh = may_kwh.min(wants_kwh);
                wants_kwh -= given_kwh;
                given_kwh
            };
            let from_sun = take(sun_kwh);
            let from_ground = take(ground_may_kwh);
            let from_mains = take(if sources.mains { day.mains_kw * HOURS } else { 0.0 });
            sun_kwh -= from_sun;
            ground_kwh -= from_ground;
            pack_kwh += (from_sun + from_ground + from_mains) * day.efficiency;
            went.from_panels_kwh += from_sun * day.efficiency;
            went.from_ground_kwh += from_ground * day.efficiency;
            went.from_mains_kwh += from_mains * day.efficiency;
        }
        let stored = ground.map_or(0.0, |ground| {
            sun_kwh.min(ground.power_kw * HOURS).min((ground.usable_kwh - ground_kwh).max(0.0))
        });
        ground_kwh += stored;
        went.spilt_kwh += sun_kwh - stored;
        went.stored_kwh.push([pack_kwh, ground_kwh]);
    }
    went
}
