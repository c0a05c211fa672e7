//! Noise that is the same for the same seed.

/// A small generator of random numbers: SplitMix64, by its published constants, which are given here from memory.
#[derive(Debug, Clone)]
pub struct Chance(u64);

impl Chance {
    /// A generator of its own for each seed and purpose.
    pub fn of(seed: u64, purpose: &str) -> Self {
        // FNV-1a mixes the purpose in, so that recorders of one run have noise of their own.
        let mixed = purpose.bytes().fold(0xCBF2_9CE4_8422_2325, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3)
        });
        Self(seed ^ mixed)
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Noise about zero with this standard deviation; nearly normal, and never more than three and a half of them.
    pub fn noise(&mut self, sd: f64) -> f64 {
        let bits = self.bits();
        // Four numbers of 16 bits, each uniform: their sum has a variance of 4/12.
        let sum = (0..4).map(|part| f64::from((bits >> (16 * part)) as u16)).sum::<f64>();
        (sum / f64::from(1 << 16) - 2.0) * 3.0_f64.sqrt() * sd
    }

    /// A whole number from 0 up to, not including, `end`, which is not 0.
    pub fn below(&mut self, end: u64) -> u64 {
        self.bits() % end
    }
}
