//! Chances that can be had again from their seed.

use std::time::{SystemTime, UNIX_EPOCH};

/// A generator of numbers: SplitMix64, by its published constants, which are given here from memory.
pub struct Chance(u64);

impl Chance {
    /// With the seed of the variable `SEED`, or else another one each time; it is printed.
    pub fn new(test: &str) -> Self {
        let given = std::env::var("SEED").ok().and_then(|seed| seed.parse().ok());
        let seed = given.unwrap_or_else(|| {
            let now = SystemTime::now().duration_since(UNIX_EPOCH);
            now.map_or(1, |since| since.as_nanos() as u64)
        });
        println!("{test}: SEED={seed}");
        Self(seed)
    }

    /// A number below a bound.
    pub fn below(&mut self, bound: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (mixed ^ (mixed >> 31)) % bound
    }
}
