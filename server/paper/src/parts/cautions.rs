//! The cautions, and who comes first.

use crate::manuscript::Blocks;

/// Who decides.
pub(crate) fn authority(out: &mut Blocks) {
    out.note(
        "This paper reports what was recorded. It advises, and clears nobody to fly. The authority's permit and conditions, local \
         rules, licensed inspectors and, in the aircraft, the pilot in command come first, whatever stands here. Who signs anything \
         reads the authority's current text first.",
    );
}

/// What can kill.
pub(crate) fn cautions(out: &mut Blocks) {
    out.label("Cautions");
    out.list([
        "High-voltage direct current kills, also when everything seems switched off: only people who were instructed work on it, \
         isolated and locked wherever the work allows it, after the absence of voltage was measured.",
        "A propeller whose motor can be powered turns without warning and without noise: nobody stands in its plane or within its \
         circle, and it is handled as live.",
        "Lithium cells that were overheated, crushed or overcharged can burn hours later, with poisonous smoke: keep away, keep \
         watch, and follow the fire plan that was agreed with the local brigade.",
        "On first flights, and on each flight to somewhere new, only the crew that the flight needs is on board, others stay clear, \
         and rescue stands by as briefed. Anybody may stop everything at any time.",
    ]);
}
