//! A mapped signal: when it is in a frame, and its figure.

use super::layout::{Kind, Layout};

/// A signal that is to be decoded.
#[derive(Debug, Clone)]
pub(super) struct Decoded {
    /// What the mapping calls it: `Message.Signal`, or `interface:Message.Signal`.
    pub(super) name: String,
    /// The interface whose frames carry it; absent where the mapping names none.
    pub(super) interface: Option<String>,
    /// Identifier of its message, with the bit of extended ones.
    pub(super) message: u32,
    pub(super) layout: Layout,
    pub(super) kind: Kind,
    /// Figure = bits × factor + offset.
    pub(super) factor: f64,
    pub(super) offset: f64,
    /// All must hold for the signal to be in a frame; empty where it is in every one.
    pub(super) selectors: Vec<Selector>,
}

/// The values of a multiplexor at which a signal is there.
#[derive(Debug, Clone)]
pub(super) struct Selector {
    pub(super) layout: Layout,
    /// Lowest and highest of each range, both included.
    pub(super) values: Vec<(u64, u64)>,
}

/// What a frame says of a signal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Said {
    /// Its figure, in the unit of the DBC file; not finite where its bits say so.
    Figure(f64),
    /// Another multiplexed signal stands in its place.
    Nothing,
    /// The frame ends before it, or before its multiplexor.
    Cut,
}

impl Decoded {
    /// What a frame of the signal's message says of it.
    pub(super) fn said_by(&self, frame: &[u8]) -> Said {
        for selector in &self.selectors {
            let Some(value) = selector.layout.bits(frame) else { return Said::Cut };
            if !selector.values.iter().any(|(low, high)| (*low..=*high).contains(&value)) {
                return Said::Nothing;
            }
        }
        let Some(bits) = self.layout.bits(frame) else { return Said::Cut };
        let figure = self.kind.figure(bits, self.layout.size_bits());
        Said::Figure(figure * self.factor + self.offset)
    }
}
