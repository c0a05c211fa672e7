//! From what was found in a file to the facts that its record keeps.

use chrono::{DateTime, Utc};
use programme::codes::{ChannelCode, RecorderCode};
use programme::record::{Digest, RecordedChannel, RecordingTaken};
use recordings::Micros;
use recordings::check::{ChannelQuality, Quality};

/// A file and its columns, as they are kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptFile {
    /// SHA-256 of the file as it came.
    pub recording: Digest,
    /// Its size.
    pub bytes: u64,
    /// SHA-256 of its columns.
    pub columns: Digest,
    /// What it was called.
    pub name: String,
    /// The recorder that wrote it.
    pub recorder: RecorderCode,
    /// The record that described the recorder when the file was read.
    pub recorder_revision: u64,
}

/// What the record of a file says; absent where no row has a moment within the years that a calendar has.
pub fn taken(file: KeptFile, quality: &Quality) -> Option<RecordingTaken> {
    let KeptFile { recording, bytes, columns, name, recorder, recorder_revision } = file;
    let of_cells: u64 = quality.channels.iter().map(|channel| sum(&channel.refused_by_rule)).sum();
    Some(RecordingTaken {
        recording,
        recorder,
        recorder_revision,
        name,
        bytes,
        started: moment(quality.first?)?,
        ended: moment(quality.last?)?,
        rows: quality.rows,
        columns,
        channels: quality.channels.iter().filter_map(recorded).collect(),
        // What is refused and is no cell of a channel is a row.
        refused_rows: sum(&quality.refused_by_rule).saturating_sub(of_cells),
    })
}

fn sum(refused: &std::collections::BTreeMap<recordings::Rule, u64>) -> u64 {
    refused.values().sum()
}

/// A recorder's moment as a calendar has it; absent outside its years.
pub fn moment(micros: Micros) -> Option<DateTime<Utc>> {
    micros.to_utc()
}

/// A calendar's moment as recordings have it.
pub fn micros(moment: DateTime<Utc>) -> Micros {
    Micros(moment.timestamp_micros())
}

fn recorded(channel: &ChannelQuality) -> Option<RecordedChannel> {
    let refused: u64 = sum(&channel.refused_by_rule);
    Some(RecordedChannel {
        channel: ChannelCode::new(&channel.code).ok()?,
        readings: channel.present,
        missing: channel.missing.saturating_sub(refused),
        refused,
        gaps: channel.gaps.count,
        stuck: channel.stuck.count,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use recordings::check::StuckAfter;
    use recordings::format::csv::{CsvPlan, TimeForm, TimePlan};
    use recordings::{ChannelSpec, ColumnPlan, FilePlan, intake};

    use super::*;

    fn of(text: &str) -> RecordingTaken {
        let plan = FilePlan::Csv(CsvPlan {
            delimiter: None,
            decimal: '.',
            header_line: 1,
            unit_row: false,
            time: TimePlan { column: "t".to_owned(), form: TimeForm::UnixSeconds },
        });
        let channel = ChannelSpec {
            code: "winding".to_owned(),
            unit: "degC".to_owned(),
            lowest: None,
            highest: Some(200.0),
            accuracy: None,
        };
        let column = ColumnPlan { column: "w".to_owned(), channel, scale: 1.0, offset: 0.0 };
        let found =
            intake(text.as_bytes(), &plan, &[column], &StuckAfter::default(), Vec::new()).unwrap();
        let file = KeptFile {
            recording: Digest::from_bytes([1; 32]),
            bytes: text.len() as u64,
            columns: Digest::from_bytes([2; 32]),
            name: "a.csv".to_owned(),
            recorder: RecorderCode::new("R-motor").unwrap(),
            recorder_revision: 7,
        };
        taken(file, &found.report.quality).unwrap()
    }

    #[test]
    fn cells_that_are_missing_and_cells_and_rows_that_were_refused_are_counted_apart() {
        let taken = of("t,w\n1,20\n2,\n3,999\n4,hot\nnever,21\n4,22\n5,23\n");
        assert_eq!((taken.rows, taken.refused_rows), (5, 2));
        let [winding] = &taken.channels[..] else { unreachable!("one channel is mapped") };
        assert_eq!((winding.readings, winding.missing, winding.refused), (2, 1, 2));
        assert_eq!(taken.started.timestamp(), 1);
        assert_eq!(taken.ended.timestamp(), 5);
    }

    #[test]
    fn moments_go_there_and_back() {
        let at = Micros(1_777_708_800_123_456);
        assert_eq!(micros(moment(at).unwrap()), at);
        assert_eq!(moment(Micros(i64::MAX)), None);
    }
}
