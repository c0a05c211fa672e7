//! A small model of a battery-electric powerplant: a pack with a resistance, and parts that warm as lumps of the first order.
//!
//! Its figures are invented, and chosen so that the readings of the story come out nearly.

use super::flights::{Asked, Flight};

/// Cells in series.
const CELLS: f64 = 96.0;

/// Charge of the full pack.
const CAPACITY_AH: f64 = 108.0;

/// Voltage of a cell at rest over its charge state in per cent: the usual shape of a nickel-rich cell, invented.
const AT_REST: [(f64, f64); 11] = [
    (0.0, 3.0),
    (10.0, 3.42),
    (20.0, 3.54),
    (30.0, 3.61),
    (40.0, 3.67),
    (50.0, 3.75),
    (60.0, 3.85),
    (70.0, 3.94),
    (80.0, 4.02),
    (90.0, 4.09),
    (100.0, 4.18),
];

/// Losses: a constant part while it turns or is live, and a share of what goes through.
const MOTOR_LOSS_W: f64 = 120.0;
const MOTOR_LOSS_SHARE: f64 = 0.042;
const INVERTER_LOSS_W: f64 = 60.0;
const INVERTER_LOSS_SHARE: f64 = 0.013;

/// Pumps, fans and instruments.
const AUXILIARY_W: f64 = 250.0;

/// Heat that the whole pack takes for each kelvin.
const PACK_J_PER_K: f64 = 165_000.0;

/// How much of the pack's heat each of the four sensors sees.
const CELL_SHARES: [f64; 4] = [1.05, 0.95, 1.0, 0.92];

/// Time constants in seconds, and rises in kelvins for each kilowatt on the shaft.
const CELL_S: f64 = 1_500.0;
const COOLANT_S: f64 = 139.0;
const COOLANT_K_PER_KW: f64 = 0.86;
const STATOR_S: f64 = 100.0;
const STATOR_K_PER_KW: f64 = 0.36;
const WINDING_S: f64 = 12.0;
const WINDING_K_PER_KW: f64 = 0.50;
const INVERTER_S: f64 = 30.0;
const INVERTER_K_PER_KW: f64 = 0.20;
/// Air through an inlet that is half closed takes more than half of it away: the rise goes with this power of what is left.
const INVERTER_AIR: f64 = -1.739;
const BEARING_S: f64 = 400.0;
const CONTACTOR_S: f64 = 230.0;

/// What the main contactor and its cables warm by in the end, for each ampere squared.
const CONTACTOR_K_PER_A2: f64 = 0.0021;

/// Without its pump the coolant carries this share of the heat.
const STILL_COOLANT: f64 = 0.05;

/// Flow with a healthy pump, and the power above which one that loses its prime falls off.
const FLOW_L_PER_MIN: f64 = 10.6;
const FADES_ABOVE_KW: f64 = 36.0;

/// The powerplant at one time.
#[derive(Debug, Clone)]
pub struct Powerplant {
    oat_c: f64,
    cooling: f64,
    pack_ohm: f64,
    pump_fades: bool,
    /// Charge left in the pack.
    pub charge_ah: f64,
    /// Voltage at the pack's terminals.
    pub pack_v: f64,
    /// Current out of the pack.
    pub pack_a: f64,
    /// Voltage of the inverter's link.
    pub link_v: f64,
    /// What the four sensors in the boxes see.
    pub cells_c: [f64; 4],
    /// Coolant out of the inverter.
    pub coolant_out_c: f64,
    /// Coolant into the motor.
    pub coolant_in_c: f64,
    /// Coolant flow; nothing where the pump stands.
    pub flow_l_per_min: Option<f64>,
    /// Stator, which no sensor sees.
    pub stator_c: f64,
    /// Winding, which sits in the stator.
    pub winding_c: f64,
    /// Inverter.
    pub inverter_c: f64,
    /// Front bearing.
    pub bearing_c: f64,
    /// Main contactor.
    pub contactor_c: f64,
    prime: f64,
    /// What became of the energy so far.
    pub energy: Energy,
}

/// Where energy went, in joules.
#[derive(Debug, Clone, Copy, Default)]
pub struct Energy {
    /// Out of the cells, at their voltage at rest.
    pub from_cells: f64,
    /// Warmed the pack.
    pub pack_loss: f64,
    /// Warmed motor and inverter.
    pub drive_loss: f64,
    /// To pumps, fans and instruments.
    pub auxiliary: f64,
    /// To the propeller.
    pub shaft: f64,
}

/// Voltage of one cell at rest.
pub fn cell_at_rest_v(charge_percent: f64) -> f64 {
    let after = AT_REST.partition_point(|(percent, _)| *percent < charge_percent);
    let place = after.clamp(1, AT_REST.len() - 1);
    match AT_REST.get(place - 1..=place) {
        Some([(low, from_v), (high, to_v)]) => {
            from_v + (to_v - from_v) * (charge_percent - low) / (high - low)
        }
        _ => f64::NAN,
    }
}

impl Powerplant {
    /// At rest at the beginning of a flight.
    pub fn at_rest(flight: &Flight) -> Self {
        let oat_c = flight.oat_c;
        let parts_c = flight.parts_c.unwrap_or(oat_c);
        let mut plant = Self {
            oat_c,
            cooling: flight.cooling,
            pack_ohm: flight.pack_ohm,
            pump_fades: flight.pump_fades,
            charge_ah: CAPACITY_AH * flight.charge_percent / 100.0,
            pack_v: 0.0,
            pack_a: 0.0,
            link_v: 0.0,
            cells_c: [flight.cells_c; 4],
            coolant_out_c: parts_c,
            coolant_in_c: parts_c,
            flow_l_per_min: None,
            winding_c: parts_c,
            stator_c: parts_c,
            inverter_c: parts_c,
            bearing_c: parts_c,
            contactor_c: oat_c,
            prime: 1.0,
            energy: Energy::default(),
        };
        plant.pack_v = plant.at_rest_v();
        plant
    }

    /// Charge state.
    pub fn charge_percent(&self) -> f64 {
        100.0 * self.charge_ah / CAPACITY_AH
    }

    /// Charge drawn since the full pack.
    pub fn drawn_ah(&self) -> f64 {
        CAPACITY_AH - self.charge_ah
    }

    /// Mean voltage of a cell.
    pub fn cell_v(&self) -> f64 {
        self.pack_v / CELLS
    }

    fn at_rest_v(&self) -> f64 {
        CELLS * cell_at_rest_v(self.charge_percent())
    }

    /// Goes on by `step_s`, which is short against every time constant.
    pub fn step(&mut self, asked: &Asked, rpm: f64, step_s: f64) {
        let shaft_w = if asked.live { 1000.0 * asked.power_kw } else { 0.0 };
        self.draw(asked.live, shaft_w, step_s);
        self.warm(asked, shaft_w / 1000.0, rpm, step_s);
    }

    fn draw(&mut self, live: bool, shaft_w: f64, step_s: f64) {
        let motor_loss_w =
            if shaft_w > 0.0 { MOTOR_LOSS_W + MOTOR_LOSS_SHARE * shaft_w } else { 0.0 };
        let inverter_loss_w =
            if live { INVERTER_LOSS_W + INVERTER_LOSS_SHARE * shaft_w } else { 0.0 };
        let auxiliary_w = if live { AUXILIARY_W } else { 0.0 };
        let power_w = shaft_w + motor_loss_w + inverter_loss_w + auxiliary_w;
        let rest_v = self.at_rest_v();
        // P = (U0 − R I) I, and of the two currents the lower one.
        let root = (rest_v * rest_v - 4.0 * self.pack_ohm * power_w).max(0.0).sqrt();
        self.pack_a = (rest_v - root) / (2.0 * self.pack_ohm);
        self.pack_v = rest_v - self.pack_ohm * self.pack_a;
        self.charge_ah -= self.pack_a * step_s / 3600.0;
        let (target_v, link_s) = if live { (self.pack_v, 0.4) } else { (0.0, 2.0) };
        self.link_v += (target_v - self.link_v) * step_s / link_s;
        self.energy.from_cells += rest_v * self.pack_a * step_s;
        self.energy.pack_loss += self.pack_ohm * self.pack_a * self.pack_a * step_s;
        self.energy.drive_loss += (motor_loss_w + inverter_loss_w) * step_s;
        self.energy.auxiliary += auxiliary_w * step_s;
        self.energy.shaft += shaft_w * step_s;
    }

    fn warm(&mut self, asked: &Asked, power_kw: f64, rpm: f64, step_s: f64) {
        let loss_w = self.pack_ohm * self.pack_a * self.pack_a;
        for (cell_c, share) in self.cells_c.iter_mut().zip(CELL_SHARES) {
            let heated = share * loss_w / PACK_J_PER_K;
            *cell_c += (heated - (*cell_c - self.oat_c) / CELL_S) * step_s;
        }
        if self.pump_fades && power_kw > FADES_ABOVE_KW {
            self.prime += (0.80 - self.prime) * step_s / 20.0;
        }
        let carried = if asked.pump { self.prime } else { STILL_COOLANT };
        self.flow_l_per_min = asked.pump.then_some(FLOW_L_PER_MIN * self.prime);

        let coolant = (COOLANT_K_PER_KW * power_kw
            + self.cooling * carried * (self.oat_c - self.coolant_out_c))
            / COOLANT_S;
        let stator = (carried * (self.coolant_out_c - self.stator_c) + STATOR_K_PER_KW * power_kw)
            / STATOR_S;
        let winding = (self.stator_c + WINDING_K_PER_KW * power_kw - self.winding_c) / WINDING_S;
        // The inverter is cooled by air as well.
        let inverter_to_c =
            self.coolant_in_c + INVERTER_K_PER_KW * self.cooling.powf(INVERTER_AIR) * power_kw;
        let inverter = (inverter_to_c - self.inverter_c) / INVERTER_S;
        let bearing_to_c = self.oat_c + 0.009 * rpm + 0.15 * (self.winding_c - self.oat_c);
        self.coolant_out_c += coolant * step_s;
        self.stator_c += stator * step_s;
        self.winding_c += winding * step_s;
        self.inverter_c += inverter * step_s;
        let contactor_to_c = self.oat_c + CONTACTOR_K_PER_A2 * self.pack_a * self.pack_a;
        self.contactor_c += (contactor_to_c - self.contactor_c) * step_s / CONTACTOR_S;
        self.bearing_c += (bearing_to_c - self.bearing_c) * step_s / BEARING_S;
        // 3.3 kW of heat at 50 kW warm the flow by 5 K on its way.
        let warms_k = 5.3 * power_kw / 50.0 / carried.max(0.3);
        self.coolant_in_c += (self.coolant_out_c - warms_k - self.coolant_in_c) * step_s / 5.0;
    }
}
