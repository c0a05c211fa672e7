//! What puts an item into quarantine: something happened that may have harmed it, and nobody has looked yet.

use serde::{Deserialize, Serialize};

use super::judging::Judging;
use crate::codes::{CheckCode, EventCode, ItemCode};

/// Items that a happening puts into quarantine, and the checks that end it.
///
/// While an item is in quarantine, accepted results of points that are sensitive to it do not count, and such points are
/// held. The quarantine is of the version that was fitted: another version is in none, and the same one fitted again still is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct QuarantineRule {
    /// The kind of happening, such as a hard landing.
    pub event: EventCode,
    /// The items that it may have harmed.
    pub items: Vec<ItemCode>,
    /// The quarantine ends once each of these was passed after the happening, with the item fitted as it was. None: it ends for
    /// no check, and the item must be exchanged.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub until_checks: Vec<CheckCode>,
    /// Who or what asks for it.
    pub source: String,
}

impl QuarantineRule {
    pub(super) fn judge(&self, field: &str, judging: &mut Judging<'_>) {
        judging.some_without_repeats(&format!("{field}.items"), &self.items);
        judging.no_repeats(&format!("{field}.until_checks"), &self.until_checks);
        judging.text(&format!("{field}.source"), &self.source);
    }
}
