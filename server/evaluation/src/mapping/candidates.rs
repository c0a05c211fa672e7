//! Which channel of a programme a column may be.

use std::collections::BTreeSet;

use programme::codes::ChannelCode;
use programme::measure::Unit;
use programme::nouns::Channel;
use serde::Serialize;

use super::unit_words::Meant;
use super::words;

/// Channels that are offered for one column at most.
const MOST_OFFERED: usize = 3;

/// From so many points of the name on a column is likely to be a channel: all its words and most of the channel's are shared.
const LIKELY: i32 = 30;

/// A channel that a column may be.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
#[schema(as = ChannelCandidate)]
pub struct Candidate {
    /// The channel.
    pub channel: ChannelCode,
    /// What it measures.
    pub title: String,
    /// The unit of the channel.
    pub unit: Unit,
    /// Why it may be that one, and what speaks against it.
    pub why: Vec<String>,
    /// Whether the name speaks for it, and nothing against it. Only such a one goes into the draft.
    pub likely: bool,
}

/// A candidate with what decides the order.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// How much speaks for it.
    pub points: i32,
    /// The candidate.
    pub candidate: Candidate,
}

/// What is known of a column.
#[derive(Debug, Clone, Copy)]
pub struct Column<'a> {
    /// Its header without a unit in brackets.
    pub name: &'a str,
    /// Its unit.
    pub unit: Option<Meant>,
    /// How many of the last words of the name are the unit.
    pub words_of_unit: usize,
    /// The least and the greatest figure, as they stand in the file.
    pub span: Option<(f64, f64)>,
}

/// Channels that the column may be, best first.
pub fn of<'a>(column: Column<'_>, channels: impl Iterator<Item = &'a Channel>) -> Vec<Ranked> {
    let mut ranked: Vec<Ranked> = channels.filter_map(|channel| rank(column, channel)).collect();
    ranked.sort_by(|one, other| {
        let code = |ranked: &Ranked| ranked.candidate.channel.clone();
        (other.points, code(one)).cmp(&(one.points, code(other)))
    });
    ranked.truncate(MOST_OFFERED);
    ranked
}

fn rank(column: Column<'_>, channel: &Channel) -> Option<Ranked> {
    let conversion = match column.unit {
        // A unit of another kind is another channel.
        Some(meant) => Some((meant, meant.unit.conversion_of_readings(channel.unit)?)),
        None => None,
    };
    let (mut points, mut why, mut against) = (0, Vec::new(), false);
    let mut named = by_name(column, channel, &mut why);
    points += named;
    if points < 0 {
        (named, against) = (0, true);
    }
    if channel.derived_from.is_some() {
        points -= 5;
        why.push(
            "it is a derived parameter: map it only where the recorder works it out".to_owned(),
        );
    }
    match conversion {
        Some((meant, _)) if meant.unit == channel.unit => {
            points += 20;
            why.push(format!("the unit is {}, as of the channel", meant.unit.as_str()));
        }
        Some((meant, _)) => {
            points += 15;
            why.push(format!("{} become {}", meant.unit.as_str(), channel.unit.as_str()));
        }
        None => {}
    }
    let line = conversion.map_or((1.0, 0.0), |(meant, conversion)| {
        (meant.scale * conversion.factor, conversion.offset)
    });
    if let Some((least, greatest)) = column.span {
        let (least, greatest) = (least * line.0 + line.1, greatest * line.0 + line.1);
        let below = channel.lowest.is_some_and(|lowest| least < lowest);
        let above = channel.highest.is_some_and(|highest| greatest > highest);
        let told = format!("{} to {} {}", short(least), short(greatest), channel.unit);
        if below || above {
            points -= 25;
            against = true;
            why.push(format!(
                "but {} is beyond what the sensor can give, which is {} to {}",
                told.trim(),
                channel.lowest.map_or_else(|| "any".to_owned(), short),
                channel.highest.map_or_else(|| "any".to_owned(), short),
            ));
        } else if channel.lowest.is_some() || channel.highest.is_some() {
            points += 5;
            why.push(format!("{} is within what the sensor can give", told.trim()));
        }
    }
    // A unit alone fits many; it is offered, and goes into no draft.
    let offered = points >= 20 && (named > 0 || conversion.is_some());
    offered.then(|| Ranked {
        points,
        candidate: Candidate {
            channel: channel.code.clone(),
            title: channel.title.clone(),
            unit: channel.unit,
            why,
            likely: named >= LIKELY && !against && conversion.is_some(),
        },
    })
}

/// How much the names speak for it: 100 where they are the same, else by the words that both have.
fn by_name(column: Column<'_>, channel: &Channel, why: &mut Vec<String>) -> i32 {
    let of_column = words::of(column.name);
    let of_code = words::of(channel.code.as_str());
    if of_column == of_code {
        why.push("it is called like the channel".to_owned());
        return 100;
    }
    let kept = of_column.len().saturating_sub(column.words_of_unit);
    let of_column = &of_column[..kept];
    if of_column == of_code.as_slice() {
        why.push("but for its unit it is called like the channel".to_owned());
        return 90;
    }
    let numbers = |words: &[String]| -> BTreeSet<String> {
        words.iter().filter(|word| words::is_number(word)).cloned().collect()
    };
    let (ours, theirs) = (numbers(of_column), numbers(&of_code));
    if ours != theirs && !(ours.is_empty() || theirs.is_empty()) {
        why.push("but the numbers in the names differ".to_owned());
        return -40;
    }
    // A name with a number and one without are often, but not surely, two of a group.
    let one_numbered = if ours.is_empty() == theirs.is_empty() { 0 } else { 15 };
    let meant = |words: &[String]| -> BTreeSet<String> {
        let words = words.iter().filter(|word| !words::is_number(word));
        words.map(|word| words::meaning(word).to_owned()).collect()
    };
    let (said, code) = (meant(of_column), meant(&of_code));
    let title = meant(&words::of(&channel.title));
    let shared: Vec<&str> = said
        .iter()
        .filter(|word| code.contains(*word) || title.contains(*word))
        .map(String::as_str)
        .collect();
    if shared.is_empty() {
        return 0;
    }
    why.push(format!("both speak of {}", shared.join(", ")));
    // Every word of the column that the channel does not have speaks against it as much as a shared one for it.
    let of_said = shared.len() * 30 / said.len().max(1);
    let of_code =
        shared.iter().filter(|word| code.contains(**word)).count() * 20 / code.len().max(1);
    let points = i32::try_from(of_said + of_code).unwrap_or(0) - one_numbered;
    // A word that the channel does not have may make it another one, such as the greatest of a group.
    if shared.len() < said.len() { points.min(LIKELY - 1) } else { points }
}

/// A figure with at most four digits behind the point.
fn short(figure: f64) -> String {
    format!("{}", (figure * 10_000.0).round() / 10_000.0)
}
