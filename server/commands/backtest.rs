//! `rungbook backtest`: what the predictions of a programme's past would have been worth.

use chrono::Utc;
use clap::Args;
use programme::codes::ProgrammeId;
use programme::entry::Entry;
use programme::measure::Unit;
use programme::prediction::{self, Backtest as Found, Tally};
use store::Store;

use super::{Failure, demo, place};
use crate::settings::Flags;

/// Records that are read at a time.
const AT_A_TIME: u32 = 1_000;

/// Replay a programme's past, and tell how many predictions held what was measured, and how far off they were.
///
/// What was predicted for each run as it was opened is held against what the run showed. The server must not be running.
#[derive(Debug, Args)]
pub struct Backtest {
    /// The programme's id on this server
    #[arg(long, value_name = "ID", required_unless_present = "demonstration")]
    programme: Option<ProgrammeId>,
    /// Replay the story of the demonstration instead, without a data folder
    #[arg(long, conflicts_with = "programme")]
    demonstration: bool,
    /// Let predictions use what was worked out later of runs that came before
    #[arg(long)]
    hindsight: bool,
    /// List every prediction, not only the sums
    #[arg(long)]
    each: bool,
}

impl Backtest {
    /// Replays, and prints what came of the predictions.
    ///
    /// # Errors
    ///
    /// [`Failure`] where there is no such programme, or its records cannot be read.
    pub fn run(self, flags: &Flags) -> Result<(), Failure> {
        let entries = match &self.programme {
            Some(programme) => place::run(async {
                let store = place::open(flags).await?;
                let entries = entries(&store, programme).await;
                store.close().await;
                entries
            })?,
            None => demo::story(Utc::now())?,
        };
        let found = prediction::backtest(&entries, None, self.hindsight);
        print!("{}", in_words(&found, self.each));
        Ok(())
    }
}

async fn entries(store: &Store, programme: &ProgrammeId) -> Result<Vec<Entry>, Failure> {
    if !store.programmes().contains(programme) {
        let known: Vec<_> = store.programmes().iter().map(ToString::to_string).collect();
        return Err(Failure::of_input(format!(
            "rungbook: there is no programme {programme} here; there is {}",
            if known.is_empty() { "none yet".to_owned() } else { known.join(", ") }
        )));
    }
    let mut entries = Vec::new();
    loop {
        let after = entries.last().map_or(0, |entry: &Entry| entry.seq);
        let more = store.entries(programme, after, AT_A_TIME).await?;
        if more.is_empty() {
            return Ok(entries);
        }
        for stored in more {
            entries.push(Entry::from_json(&stored.text)?);
        }
    }
}

/// The sums by what was predicted, and before them each prediction where that is asked for.
fn in_words(found: &Found, each: bool) -> String {
    if found.tried.is_empty() {
        return "Nothing was predicted: the policy says nothing of predictions, or no run was opened that earlier ones \
                say anything of.\n"
            .to_owned();
    }
    let mut text = String::new();
    for one in found.tried.iter().filter(|_| each) {
        let kept = &one.predicted;
        let measured = one.measured.map_or_else(|| "nothing".to_owned(), |it| told(it, kept.unit));
        text.push_str(&format!(
            "run {} {}: {} predicted {} ({} to {}), measured {measured}: {}\n",
            one.run,
            kept.point,
            kept.what,
            told(kept.estimate, kept.unit),
            told(kept.low, kept.unit),
            told(kept.high, kept.unit),
            one.verdict.in_words()
        ));
    }
    for (what, tally) in &found.tallies {
        let unit = found.tried.iter().find(|one| one.predicted.what == *what);
        let unit = unit.map_or(Unit::One, |one| one.predicted.unit);
        text.push_str(&format!("{what}: {}\n", sums(tally, unit)));
    }
    text
}

fn told(figure: f64, unit: Unit) -> String {
    format!("{figure:.2} {unit}")
}

fn sums(tally: &Tally, unit: Unit) -> String {
    let Tally { made, measured, comparable, inside, bias, rms } = tally;
    let counted = format!("{made} predicted, {measured} measured, {comparable} comparable");
    match (tally.coverage(), bias, rms) {
        (Some(coverage), Some(bias), Some(rms)) => format!(
            "{counted}; {inside} inside the 95 % interval ({:.0} %); measured less predicted {} on the mean, {} root mean \
             square",
            100.0 * coverage,
            told(*bias, unit),
            told(*rms, unit)
        ),
        (None, _, _) | (_, None, _) | (_, _, None) => counted,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use chrono::TimeZone;

    use super::*;

    #[test]
    fn the_demonstrations_past_has_predictions_and_most_hold_what_was_measured() {
        let now = Utc.with_ymd_and_hms(2031, 6, 18, 12, 0, 0).unwrap();
        let found = prediction::backtest(&demo::story(now).unwrap(), None, false);
        let energy = found.tallies.iter().find(|(what, _)| what.to_string() == "energy");
        let (_, energy) = energy.unwrap();
        assert!(energy.comparable >= 5, "{energy:?}");
        assert!(energy.coverage().unwrap() >= 0.8, "{energy:?}");
        let text = in_words(&found, true);
        assert!(text.contains("energy: ") && text.contains(" inside the 95 % interval"), "{text}");
        assert!(text.lines().count() > found.tried.len());
    }

    #[test]
    fn a_past_without_predictions_says_so() {
        let nothing = in_words(&prediction::backtest(&[], None, true), false);
        assert!(nothing.starts_with("Nothing was predicted"));
    }
}
