//! Defines a channel or derived parameter, or defines it anew.

use super::given::{Given, at_revision, changes, one};
use super::{Command, Stamp};
use crate::document::ProgrammeDocument;
use crate::entry::Draft;
use crate::nouns::Channel;
use crate::people::Act;
use crate::record::ChannelDefined;
use crate::refusal::Refusal;
use crate::state::{Amendable, State};

/// Asks for a channel to be defined.
#[derive(Debug, Clone)]
pub struct DefineChannel {
    /// The channel as it is to be.
    pub channel: Channel,
    /// The revision that the person saw; 0: there was no such channel.
    pub expected: Option<u64>,
}

impl Command for DefineChannel {
    fn act(&self) -> Act {
        Act::DefineChannels
    }

    fn decide(&self, state: &State, stamp: &Stamp) -> Result<Vec<Draft>, Refusal> {
        let Self { channel, expected } = self;
        let code = &channel.code;
        at_revision(state, &Amendable::Channel(code.clone()), *expected)?;
        let document =
            ProgrammeDocument { channels: vec![channel.clone()], ..ProgrammeDocument::default() };
        Given::new(state, stamp).noun(channel.faults(""), &document, "channels").settled()?;
        let differs = state.channels.get(code) != Some(channel);
        changes(differs, format_args!("channel {code}"))?;
        Ok(one(ChannelDefined { channel: channel.clone() }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::commands::asked::{faults, no_permission, not_now, stale};
    use crate::measure::Unit;
    use crate::nouns::{Limit, LimitKind};
    use crate::record::LimitSet;
    use crate::story::{Story, code, limit};

    fn channel(name: &str, unit: Unit) -> DefineChannel {
        let channel = Channel {
            code: code(name),
            title: "Temperature of a winding".to_owned(),
            unit,
            lowest: Some(-40.0),
            highest: Some(200.0),
            accuracy: Some(1.5),
            derived_from: None,
        };
        DefineChannel { channel, expected: None }
    }

    #[test]
    fn an_engineer_defines_channels_and_others_do_not() {
        let mut story = Story::team();
        let command = channel("winding-2", Unit::Celsius);
        story.when("engineer", &command).unwrap();
        assert_eq!(story.state.channels["winding-2"], command.channel);
        assert_eq!(not_now(story.when("engineer", &command)), "nothing-changes");
        let others = ["lead", "pilot", "safety", "crew", "viewer"];
        no_permission(&mut story, &command, &others);
    }

    #[test]
    fn a_channel_that_limits_or_criteria_use_keeps_the_kind_of_its_unit() {
        let mut story = Story::team();
        let kilowatts = channel("winding", Unit::Kilowatt);
        assert_eq!(faults(story.when("engineer", &kilowatts)), ["unit"]);
        story.when("engineer", &channel("winding-2", Unit::Celsius)).unwrap();
        let with = vec![code("winding-2")];
        let kind = LimitKind::Spread { with, caution: None, limit: 10.0 };
        story.record("engineer", LimitSet { limit: Limit { kind, ..limit("L-spread") } });
        let of_group = channel("winding-2", Unit::Kilowatt);
        assert_eq!(faults(story.when("engineer", &of_group)), ["unit"]);
        story.when("engineer", &channel("speed", Unit::Kilowatt)).unwrap();
    }

    #[test]
    fn a_channel_says_what_it_measures_and_is_not_overwritten_unseen() {
        let mut story = Story::team();
        let mut command = channel("winding-2", Unit::Celsius);
        command.channel.title = String::new();
        command.channel.highest = Some(-50.0);
        command.channel.accuracy = Some(f64::NAN);
        assert_eq!(faults(story.when("engineer", &command)), ["title", "highest", "accuracy"]);
        let present = story.state.revision(&Amendable::Channel(code("speed")));
        let command = DefineChannel { expected: Some(0), ..channel("speed", Unit::Knot) };
        assert_eq!(stale(story.when("engineer", &command)), (present, 0));
    }
}
