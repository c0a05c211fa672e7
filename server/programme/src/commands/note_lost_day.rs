//! Notes what a day was lost to, or that it was not lost; anyone who takes part.
//!
//! Nothing holds or opens because of it. It tells those who ask later where the days went.

use chrono::NaiveDate;
use serde::Deserialize;

use super::given::{Given, one};
use super::{Command, Stamp};
use crate::entry::Draft;
use crate::nouns::LostTo;
use crate::people::Act;
use crate::progress::runs_of_day;
use crate::record::DayLost;
use crate::refusal::Refusal;
use crate::state::State;

/// What a person gives about a day that was lost.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LostDayTerms {
    /// Which day.
    pub date: NaiveDate,
    /// To what; absent: it was not lost, because no work was meant. What is noted last holds.
    #[serde(default)]
    pub cause: Option<LostTo>,
    /// What there is to say about it.
    pub account: String,
}

/// Asks for a lost day to be noted.
#[derive(Debug, Clone)]
pub struct NoteLostDay {
    /// What was given.
    pub terms: LostDayTerms,
}

impl Command for NoteLostDay {
    fn act(&self) -> Act {
        Act::NoteLostDays
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let LostDayTerms { date, cause, account } = self.terms.clone();
        let today = stamp.now.date_naive();
        let founded = state.founded_at.map_or(date, |at| at.date_naive());
        let runs: Vec<String> = runs_of_day(state, date).map(|run| run.to_string()).collect();
        Given::new(state, stamp)
            .must(date <= today, "date", format!("{date} has not come yet: give a day up to today, {today} (UTC)"))
            .must(
                date >= founded,
                "date",
                format!("{date} is before the programme was founded: give a day from {founded} on"),
            )
            .must(
                runs.is_empty(),
                "date",
                format!("run {} was made on {date}: such a day is not lost; say in its debrief what was missed", runs.join(", ")),
            )
            .text("account", &account)
            .settled()?;
        Ok(one(DayLost { date, cause, account }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::{Days, TimeDelta};

    use super::*;
    use crate::commands::asked::{faults, no_permission};
    use crate::story::{Story, morning};

    fn rain(date: NaiveDate) -> NoteLostDay {
        let account = "Rain all day.".to_owned();
        NoteLostDay { terms: LostDayTerms { date, cause: Some(LostTo::Weather), account } }
    }

    #[test]
    fn anyone_who_takes_part_notes_what_a_day_was_lost_to_and_the_last_word_holds() {
        let today = morning().date_naive();
        for person in ["lead", "pilot", "safety", "engineer", "crew"] {
            let mut story = Story::team();
            story.when(person, &rain(today)).unwrap();
            assert_eq!(story.state.planning.lost[&today].cause, Some(LostTo::Weather));
            let mut command = rain(today);
            command.terms.cause = None;
            story.when("lead", &command).unwrap();
            assert_eq!(story.state.planning.lost[&today].cause, None);
        }
        no_permission(&mut Story::team(), &rain(today), &["viewer"]);
    }

    #[test]
    fn a_day_that_has_not_come_or_was_before_the_programme_is_refused() {
        let mut story = Story::team();
        let today = morning().date_naive();
        assert_eq!(faults(story.when("lead", &rain(today + Days::new(1)))), ["date"]);
        assert_eq!(faults(story.when("lead", &rain(today - Days::new(400)))), ["date"]);
        let mut silent = rain(today);
        silent.terms.account = " ".to_owned();
        assert_eq!(faults(story.when("lead", &silent)), ["account"]);
    }

    #[test]
    fn a_day_with_a_run_is_not_lost() {
        let mut story = Story::team();
        story.release("A").acknowledge("A").show("A", 50.0);
        story.later(TimeDelta::hours(1));
        let day = story.state.runs[0].day();
        assert_eq!(faults(story.when("lead", &rain(day))), ["date"]);
    }
}
