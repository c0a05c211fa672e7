//! Reads a story, and tells everything that is wrong with its form.

use std::sync::Arc;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::Deserialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::acts::Deed;
use super::words::{TimeOfDay, at, day_from};
use super::{Place, Step, What};
use crate::codes::PersonHandle;
use crate::document::{Path, Places, TableReader, syntax_fault};
use crate::refusal::Fault;

/// The word that founds the programme.
const FOUND: &str = "found";

/// What every act says, whatever is done.
const OF_EVERY_ACT: [&str; 5] = ["day", "time", "minutes_ago", "by", "do"];

/// The most faults that are told at once.
const MOST_FAULTS: usize = 100;

/// When an act was done, by whom, and what.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Heading {
    #[serde(default)]
    day: Option<i32>,
    #[serde(default)]
    time: Option<TimeOfDay>,
    #[serde(default)]
    minutes_ago: Option<u32>,
    by: PersonHandle,
    r#do: String,
}

/// The steps that a story tells, or all its faults.
pub(super) fn steps(
    text: &str,
    founding: What,
    now: DateTime<Utc>,
) -> Result<Vec<Step>, Vec<Fault>> {
    let (root, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let mut faults: Vec<_> = errors.iter().map(|error| syntax_fault(text, error)).collect();
        faults.dedup();
        return Err(faults);
    }
    let mut root = root.into_inner();
    let places = Places::with(text, root.clone());
    let mut story = Story {
        places: &places,
        now,
        founding: Some(founding),
        last: None,
        steps: Vec::new(),
        faults: Vec::new(),
    };
    match root.remove("act").map(Spanned::into_inner) {
        Some(DeValue::Array(acts)) => {
            for (place, act) in acts.into_iter().enumerate() {
                if story.faults.len() < MOST_FAULTS {
                    story.act(place, act);
                }
            }
        }
        _ => story
            .faults
            .push(Fault::at("act", "a story is a list of acts: begin each with [[act]]")),
    }
    for unknown in root.keys() {
        let unknown = unknown.get_ref().as_ref();
        story.faults.push(Fault::at(unknown, "is nothing that a story has: use [[act]]"));
    }
    if story.founding.is_some() && story.faults.is_empty() {
        story.faults.push(Fault::at("act", "a story begins with do = \"found\""));
    }
    let Story { steps, faults, .. } = story;
    if faults.is_empty() { Ok(steps) } else { Err(numbered(&places, faults)) }
}

/// Each fault with its line, and with the number of its act instead of its place in the list.
fn numbered(places: &Places<'_>, faults: Vec<Fault>) -> Vec<Fault> {
    let told = faults.into_iter().map(|fault| {
        let line = places.line_of(&Path::read(&fault.field));
        let inside = fault.field.strip_prefix("act[").and_then(|rest| rest.split_once(']'));
        let field = inside.and_then(|(place, field)| {
            let number = place.parse::<usize>().ok()? + 1;
            let field = field.trim_start_matches('.');
            Some(if field.is_empty() {
                format!("line {line}, act {number}")
            } else {
                format!("line {line}, act {number}, {field}")
            })
        });
        Fault::at(field.unwrap_or_else(|| format!("line {line}, {}", fault.field)), fault.why)
    });
    told.collect()
}

struct Story<'a, 't> {
    places: &'a Places<'t>,
    now: DateTime<Utc>,
    founding: Option<What>,
    last: Option<DateTime<Utc>>,
    steps: Vec<Step>,
    faults: Vec<Fault>,
}

impl Story<'_, '_> {
    fn act(&mut self, place: usize, act: Spanned<DeValue<'_>>) {
        let path = Path::default().key("act").index(place);
        let span = act.span();
        let DeValue::Table(given) = act.into_inner() else {
            self.faults.push(Fault::at(path.to_string(), "must be a table"));
            return;
        };
        let (mut heading, mut rest) = (DeTable::new(), DeTable::new());
        for (key, value) in given {
            let of_every_act = OF_EVERY_ACT.contains(&key.get_ref().as_ref());
            if of_every_act { &mut heading } else { &mut rest }.insert(key, value);
        }
        let before = self.faults.len();
        let heading = Spanned::new(span.clone(), DeValue::Table(heading));
        let Some(heading) =
            TableReader::new(&path, heading).read(&mut self.faults, |_: &Heading, _| Vec::new())
        else {
            return;
        };
        let Some(at) = self.moment(&heading, &path) else { return };
        let (day, now) = (at.date_naive(), self.now);
        let line = self.places.line_of(&path);
        let Heading { by, r#do: word, .. } = heading;
        let place = Place { act: place + 1, line, what: word.clone() };
        let founded = self.founding.is_none();
        let what = if word == FOUND {
            let extra = rest.keys().next().map(|key| key.get_ref().as_ref().to_owned());
            if let Some(extra) = extra {
                let why = "nothing is given with found: the programme's document says it all";
                self.faults.push(Fault::at(path.key(&extra).to_string(), why));
            }
            let Some(founding) = self.founding.take() else {
                let why = "a programme is founded once";
                self.faults.push(Fault::at(path.key("do").to_string(), why));
                return;
            };
            founding
        } else {
            if !founded && before == 0 && self.steps.is_empty() {
                let why = "the first act founds the programme: do = \"found\"";
                self.faults.push(Fault::at(path.key("do").to_string(), why));
            }
            let rest = Spanned::new(span, DeValue::Table(rest));
            let Some(deed) = Deed::read(&word, &path, rest, &mut self.faults) else { return };
            What::Deed(deed)
        };
        self.put(Step { at, by, place, what: Arc::new(what), nth: 0, day, now });
    }

    /// One step for each command that the act stands for.
    fn put(&mut self, step: Step) {
        let commands = match &*step.what {
            What::Found { .. } => 1,
            What::Deed(deed) => deed.commands(),
        };
        if commands == 0 {
            let at = format!("act[{}]", step.place.act - 1);
            self.faults.push(Fault::at(at, "names nothing that is to be done"));
        }
        self.steps.extend((0..commands).map(|nth| Step { nth, ..step.clone() }));
    }

    /// The moment of an act: no earlier than that of the act before, and not after now.
    fn moment(&mut self, heading: &Heading, path: &Path) -> Option<DateTime<Utc>> {
        let moment = match (heading.day, &heading.time, heading.minutes_ago) {
            (Some(day), Some(time), None) => at(self.day(day), time.0),
            (None, None, Some(minutes)) => self.now - TimeDelta::minutes(i64::from(minutes)),
            _ => {
                let why = "say when: day and time, or minutes_ago";
                self.faults.push(Fault::at(path.to_string(), why));
                return None;
            }
        };
        if moment > self.now {
            let why = format!("{} has not come yet", moment.to_rfc3339());
            self.faults.push(Fault::at(path.to_string(), why));
        }
        if let Some(last) = self.last.filter(|last| moment < *last) {
            let why = format!(
                "{} is before the act before it, at {}",
                moment.to_rfc3339(),
                last.to_rfc3339()
            );
            self.faults.push(Fault::at(path.to_string(), why));
        }
        self.last = Some(moment);
        Some(moment)
    }

    fn day(&self, day: i32) -> NaiveDate {
        day_from(self.now, day.clamp(-100_000, 100_000))
    }
}
