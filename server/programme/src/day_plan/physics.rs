//! Charge and temperatures, step by step.

use flight_science::charging::Taper;

use super::search::Candidate;

/// Minutes of a step.
pub(super) const STEP_MIN: u32 = 5;

/// Hours of a step.
pub(super) const STEP_H: f64 = STEP_MIN as f64 / 60.0;

/// Energies and temperatures closer to each other than this are the same.
const DUST: f64 = 1.0e-9;

/// A battery that gives power to the charger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct GroundBattery {
    /// From empty to full.
    pub usable_kwh: f64,
    /// What is in it at first.
    pub begins_kwh: f64,
    /// What stays in it.
    pub least_kwh: f64,
    /// The most that it gives or takes.
    pub power_kw: f64,
}

/// A part that runs heat: one lump, as the thermal fits have it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    /// Time in which a difference falls to 1/e, in minutes.
    pub time_constant_min: f64,
    /// Rise over the air for each kilowatt, in the long run.
    pub rise_c_per_kw: f64,
    /// How warm it is at first.
    pub begins_c: f64,
    /// How warm it may become in a run.
    pub most_c: f64,
}

/// What the day's runs rest on, besides the points.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grounds {
    /// The aircraft's pack, from empty to full.
    pub usable_kwh: f64,
    /// What is in it at first.
    pub begins_kwh: f64,
    /// What stays in it after every run.
    pub least_kwh: f64,
    /// What it takes at a charge state; no bound when absent.
    pub taper: Option<Taper>,
    /// The most that the charger gives into the pack.
    pub charger_kw: f64,
    /// Of the charger, from its input to the pack.
    pub efficiency: f64,
    pub mains_kw: f64,
    /// Power of the panels, by step.
    pub panels_kw: Vec<f64>,
    pub ground: Option<GroundBattery>,
    pub parts: Vec<Part>,
    /// Temperature of the air, by step.
    pub air_c: Vec<f64>,
}

/// How things stand at a moment.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Standing {
    pub pack_kwh: f64,
    pub ground_kwh: f64,
    pub parts_c: Vec<f64>,
    /// Steps until each candidate's result is accepted; empty where nothing in the day waits for another.
    waits: Vec<u16>,
}

impl Standing {
    /// Whether the result of a candidate that was run is accepted.
    pub fn is_accepted(&self, which: usize) -> bool {
        self.waits.get(which).is_none_or(|steps| *steps == 0)
    }

    /// With a candidate that was just run and is accepted after so many steps.
    pub fn waiting_for(mut self, which: usize, steps: usize) -> Self {
        if let Some(wait) = self.waits.get_mut(which) {
            *wait = u16::try_from(steps).unwrap_or(u16::MAX);
        }
        self
    }

    /// Whether it is at least as good in everything as another of the same moment.
    pub fn is_no_worse_than(&self, other: &Self) -> bool {
        self.pack_kwh + DUST >= other.pack_kwh
            && self.ground_kwh + DUST >= other.ground_kwh
            && self.parts_c.iter().zip(&other.parts_c).all(|(own, theirs)| *own <= theirs + DUST)
            && self.waits.iter().zip(&other.waits).all(|(own, theirs)| own <= theirs)
    }
}

/// What went into the pack in a step, by source.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Charged {
    pub panels_kwh: f64,
    pub ground_kwh: f64,
    pub mains_kwh: f64,
}

impl Charged {
    pub fn all_kwh(self) -> f64 {
        self.panels_kwh + self.ground_kwh + self.mains_kwh
    }
}

impl Grounds {
    /// The day's first standing.
    pub fn begins(&self, candidates: usize) -> Standing {
        Standing {
            pack_kwh: self.begins_kwh,
            ground_kwh: self.ground.map_or(0.0, |ground| ground.begins_kwh),
            parts_c: self.parts.iter().map(|part| part.begins_c).collect(),
            waits: vec![0; candidates],
        }
    }

    /// What is in the pack above what stays in it.
    pub fn above_least_kwh(&self, standing: &Standing) -> f64 {
        (standing.pack_kwh - self.least_kwh).max(0.0)
    }

    /// By step: the most that can be charged from there to the end.
    pub fn most_charge_kwh(&self, steps: usize) -> Vec<f64> {
        let mut most = vec![0.0; steps + 1];
        for step in (0..steps).rev() {
            let ground_kw = self.ground.map_or(0.0, |ground| ground.power_kw);
            let supply_kw =
                (self.at(&self.panels_kw, step) + ground_kw + self.mains_kw) * self.efficiency;
            most[step] = most[step + 1] + supply_kw.min(self.charger_kw) * STEP_H;
        }
        most
    }

    fn at(&self, by_step: &[f64], step: usize) -> f64 {
        by_step.get(step).or_else(|| by_step.last()).copied().unwrap_or(0.0)
    }

    /// A step at the charger.
    pub fn rest(&self, before: &Standing, step: usize) -> Standing {
        let mut now = before.clone();
        self.charge(&mut now, step);
        now
    }

    /// A step at the charger, with what went into the pack: from the panels first, then from the battery on the ground, then
    /// from the mains. What panels give beyond goes into the battery on the ground.
    pub fn charge(&self, now: &mut Standing, step: usize) -> Charged {
        let state = now.pack_kwh / self.usable_kwh;
        let takes_kw =
            self.taper.as_ref().map_or(f64::INFINITY, |taper| taper.at(state).kilowatts());
        let room_kwh = (self.usable_kwh - now.pack_kwh).max(0.0);
        let mut wants_kwh =
            (takes_kw.min(self.charger_kw) * STEP_H).min(room_kwh) / self.efficiency;
        let mut take = |may_kwh: f64| {
            let taken_kwh = wants_kwh.min(may_kwh.max(0.0));
            wants_kwh -= taken_kwh;
            taken_kwh
        };
        let sun_kwh = self.at(&self.panels_kw, step) * STEP_H;
        let may_kwh = self.ground.map_or(0.0, |ground| {
            (ground.power_kw * STEP_H).min(now.ground_kwh - ground.least_kwh)
        });
        let (panels, ground) = (take(sun_kwh), take(may_kwh));
        let mains = take(self.mains_kw * STEP_H);
        let charged = Charged {
            panels_kwh: panels * self.efficiency,
            ground_kwh: ground * self.efficiency,
            mains_kwh: mains * self.efficiency,
        };
        self.stand(now, step, 0.0, sun_kwh - panels);
        now.pack_kwh += charged.all_kwh();
        now.ground_kwh -= ground;
        charged
    }

    /// A step away from the charger, with so much power out of the pack.
    pub fn away(&self, now: &mut Standing, step: usize, power_kw: f64) {
        let sun_kwh = self.at(&self.panels_kw, step) * STEP_H;
        self.stand(now, step, power_kw, sun_kwh);
        now.pack_kwh -= power_kw * STEP_H;
    }

    /// Parts warm or cool by the exact answer for steady power and air; spare sunlight goes into the battery on the ground.
    fn stand(&self, now: &mut Standing, step: usize, power_kw: f64, spare_kwh: f64) {
        let air_c = self.at(&self.air_c, step);
        for (part, warm_c) in self.parts.iter().zip(&mut now.parts_c) {
            let kept = (-f64::from(STEP_MIN) / part.time_constant_min).exp();
            *warm_c = kept * *warm_c + (1.0 - kept) * (air_c + part.rise_c_per_kw * power_kw);
        }
        if let Some(ground) = self.ground {
            let room_kwh = (ground.usable_kwh - now.ground_kwh).max(0.0);
            now.ground_kwh += spare_kwh.min(ground.power_kw * STEP_H).min(room_kwh);
        }
        for steps in &mut now.waits {
            *steps = steps.saturating_sub(1);
        }
    }

    /// Set-up, run and turn-round of a candidate; `None` where the pack does not have its energy above what stays in it, or a
    /// part becomes too warm. The run draws steadily. The aircraft is away from the charger all that time.
    pub fn run(&self, before: &Standing, step: usize, candidate: &Candidate) -> Option<Standing> {
        if self.above_least_kwh(before) + DUST < candidate.energy_kwh {
            return None;
        }
        let mut now = before.clone();
        for away in 0..candidate.whole() {
            let runs = candidate.is_run(away);
            self.away(&mut now, step + away, if runs { candidate.power_kw() } else { 0.0 });
            let is_cool = |(part, warm_c): (&Part, &f64)| *warm_c <= part.most_c + DUST;
            if runs && !self.parts.iter().zip(&now.parts_c).all(is_cool) {
                return None;
            }
        }
        Some(now)
    }
}
