//! The aircraft must be what the plan of the point says.

use chrono::{DateTime, Utc};

use super::{Explained, Reason, Rule, Subject};
use crate::codes::ItemCode;
use crate::state::{Rung, State};

static UNKNOWN: Rule = Rule::against_release(
    "configuration-unknown",
    "What is fitted to the aircraft is known: at least one item is listed.",
);
static NOT_FITTED: Rule =
    Rule::against_release("item-not-fitted", "Every item that the plan requires is fitted.");
static OTHER_VERSION: Rule = Rule::against_release(
    "item-other-version",
    "Every item that the plan requires is fitted at the version that it requires.",
);

pub(super) static RULES: &[&Rule] = &[&UNKNOWN, &NOT_FITTED, &OTHER_VERSION];

/// What is not as the point needs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Configuration {
    /// Nothing is listed as fitted.
    Unknown,
    /// A required item is not fitted.
    NotFitted {
        /// Which.
        item: ItemCode,
    },
    /// A required item is fitted at another version.
    OtherVersion {
        /// Which.
        item: ItemCode,
    },
}

pub(super) fn collect(rung: &Rung, state: &State, _: DateTime<Utc>, found: &mut Vec<Reason>) {
    if state.configuration.items.is_empty() {
        found.push(Reason::Configuration(Configuration::Unknown));
    }
    for required in &rung.point.configuration {
        let item = required.item.clone();
        match (state.configuration.version(&item), &required.version) {
            (None, _) => found.push(Reason::Configuration(Configuration::NotFitted { item })),
            (Some(fitted), Some(wanted)) if fitted != wanted => {
                found.push(Reason::Configuration(Configuration::OtherVersion { item }));
            }
            (Some(_), _) => {}
        }
    }
}

fn wanted<'a>(item: &ItemCode, rung: &'a Rung) -> &'a str {
    let required = rung.point.configuration.iter().find(|required| required.item == *item);
    required.and_then(|required| required.version.as_deref()).unwrap_or_default()
}

impl Explained for Configuration {
    fn rule(&self) -> &'static Rule {
        match self {
            Configuration::Unknown => &UNKNOWN,
            Configuration::NotFitted { .. } => &NOT_FITTED,
            Configuration::OtherVersion { .. } => &OTHER_VERSION,
        }
    }

    fn subject(&self, _: &Rung) -> Subject {
        match self {
            Configuration::Unknown => Subject::new("programme", "configuration"),
            Configuration::NotFitted { item } | Configuration::OtherVersion { item } => {
                Subject::new("item", item)
            }
        }
    }

    fn why(&self, rung: &Rung, state: &State) -> String {
        match self {
            Configuration::Unknown => {
                "Nothing is listed as fitted, so the configuration is unknown.".to_owned()
            }
            Configuration::NotFitted { item } => format!("{item} is required and is not fitted."),
            Configuration::OtherVersion { item } => format!(
                "{item} is required at version \"{}\", and \"{}\" is fitted.",
                wanted(item, rung),
                state.configuration.version(item).unwrap_or_default()
            ),
        }
    }

    fn clears(&self, rung: &Rung, _: &State) -> String {
        match self {
            Configuration::Unknown => "An engineer lists what is fitted.".to_owned(),
            Configuration::NotFitted { item } => format!("{item} is fitted."),
            Configuration::OtherVersion { item } => {
                format!("{item} is fitted at version \"{}\".", wanted(item, rung))
            }
        }
    }

    fn source(&self, rung: &Rung, _: &State) -> String {
        match self {
            Configuration::Unknown => "Rungbook rule: unknown is not safe".to_owned(),
            Configuration::NotFitted { .. } | Configuration::OtherVersion { .. } => {
                format!("the plan of {}", rung.point.code)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::nouns::{Point, RequiredItem};
    use crate::record::ItemRemoved;
    use crate::story::{Story, code, point};

    fn requiring(version: Option<&str>) -> Story {
        let mut story = Story::team();
        let required = RequiredItem { item: code("motor"), version: version.map(str::to_owned) };
        story.plan(Point { configuration: vec![required], ..point("B") }).approve("B");
        story
    }

    #[test]
    fn a_required_item_must_be_fitted_and_at_its_version() {
        let mut story = requiring(Some("1"));
        assert!(story.rules("B").is_empty());
        story.fit("motor", "2");
        let why = story.hold("B", "item-other-version").why;
        assert_eq!(why, "motor is required at version \"1\", and \"2\" is fitted.");
        story.record("engineer", ItemRemoved { item: code("motor"), reason: "Bench.".to_owned() });
        assert_eq!(story.rules("B"), ["item-not-fitted"]);
    }

    #[test]
    fn any_version_will_do_where_the_plan_names_none() {
        let mut story = requiring(None);
        story.fit("motor", "7");
        assert!(story.rules("B").is_empty());
    }

    #[test]
    fn an_empty_configuration_is_unknown() {
        let mut story = Story::team();
        for item in ["motor", "pack"] {
            let reason = "Bench.".to_owned();
            story.record("engineer", ItemRemoved { item: code(item), reason });
        }
        assert_eq!(story.rules("A"), ["configuration-unknown"]);
    }
}
