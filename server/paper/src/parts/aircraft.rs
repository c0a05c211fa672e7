//! The aircraft, what is fitted, and how it is loaded.

use programme::hours::ConfigurationDigest;
use programme::nouns::ItemKind;

use crate::manuscript::{Blocks, column};
use crate::scope::Extent;
use crate::words::{known, known_measure, moment, person};

/// What the aircraft is.
pub(crate) fn aircraft(extent: &Extent<'_>, out: &mut Blocks) {
    let Some(it) = &extent.state.aircraft else {
        out.text("The aircraft: not recorded.");
        return;
    };
    out.facts([
        ("Aircraft", it.name.clone()),
        ("Marks", known(it.registration.clone())),
        ("Description", it.description.clone()),
        ("Where it is tested", known(it.airfield.clone())),
        ("Seats", it.seats.to_string()),
        ("Greatest speed", known_measure(it.never_exceed_speed)),
        ("Greatest pressure altitude", known_measure(it.maximum_altitude)),
        ("Greatest mass", known_measure(it.maximum_mass)),
    ]);
}

/// How it is loaded, and where mass and centre of gravity may be.
pub(crate) fn loading(extent: &Extent<'_>, out: &mut Blocks) {
    out.label("Loading");
    let aircraft = extent.state.aircraft.as_ref();
    let stations = aircraft.map_or(&[][..], |it| it.loading.as_slice());
    out.table(
        [column("Station", 2.0), column("Mass", 1.0), column("Arm aft of the datum", 1.0)],
        stations.iter().map(|it| [it.name.clone(), it.mass.to_string(), it.arm.to_string()]),
        "Loading stations: not recorded.",
    );
    let Some(limits) = aircraft.and_then(|it| it.loading_limits.as_ref()) else {
        out.text("Limits of mass and centre of gravity: not recorded.");
        return;
    };
    out.table(
        [column("Corner: centre of gravity", 1.0), column("Mass", 1.0)],
        limits.corners.iter().map(|it| [it.centre_of_gravity.to_string(), it.mass.to_string()]),
        "Corners of mass and centre of gravity: not recorded.",
    );
    out.text(format!(
        "Leading edge of the mean chord {} aft of the datum, length {}. Source: {}.",
        limits.chord_leading_edge, limits.chord_length, limits.source
    ));
}

/// What is fitted, with the digest that names it.
pub(crate) fn configuration(extent: &Extent<'_>, out: &mut Blocks) {
    let configuration = &extent.state.configuration;
    let items = configuration.items.values().map(|it| {
        let kind = match it.item.kind {
            ItemKind::Part => "part",
            ItemKind::Software => "software",
        };
        [
            it.item.code.to_string(),
            it.item.title.clone(),
            kind.to_owned(),
            it.item.version.clone(),
            moment(it.since),
            it.since_seq.to_string(),
        ]
    });
    out.table(
        [
            column("Item", 1.3),
            column("What it is", 2.0),
            column("Kind", 0.7),
            column("Version fitted", 1.8),
            column("Since", 1.2),
            column("Record", 0.6),
        ],
        items,
        "Items of the configuration: not recorded.",
    );
    if !configuration.items.is_empty() {
        let digest = ConfigurationDigest::of(&configuration.fitted()).digest;
        out.text(format!("Digest of what is fitted: {digest}"));
    }
}

/// What was changed, oldest first.
pub(crate) fn configuration_changes(extent: &Extent<'_>, out: &mut Blocks) {
    out.label("Changes of the configuration");
    let state = extent.state;
    let changes = state.configuration.changes.iter().map(|it| {
        let version = |of: &Option<String>| of.clone().unwrap_or_else(|| "not fitted".to_owned());
        [
            moment(it.at),
            it.item.to_string(),
            version(&it.before),
            version(&it.after),
            known(it.reason.clone()),
            person(state, &it.by),
            it.seq.to_string(),
        ]
    });
    out.table(
        [
            column("When", 1.0),
            column("Item", 1.0),
            column("Before", 1.2),
            column("After", 1.2),
            column("Reason", 1.6),
            column("By", 1.2),
            column("Record", 0.6),
        ],
        changes,
        "No changes are recorded.",
    );
}
