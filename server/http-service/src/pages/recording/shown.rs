//! What the page of a recording shows.

use chrono::{DateTime, Utc};
use maud::{Markup, html};
use programme::codes::RunNumber;
use programme::people::Act;
use programme::record::Digest;
use programme::state::Amendable;
use recordings::Report;

use super::lines::{
    ChannelLine, ExceedanceLine, IntervalLine, RefusedLine, channels, remark, rule,
};
use crate::api::recordings::recording_view;
use crate::desk::View;
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::pages::told::Told;
use crate::pages::words::{bytes, counted, moment, person, rounded, short, span};
use crate::problem::Problem;

/// What the page shows.
#[derive(Debug, Clone)]
pub(crate) struct RecordingPage {
    pub place: String,
    pub token: String,
    pub recording: String,
    pub name: String,
    pub recorder: String,
    pub bytes: u64,
    pub by: String,
    pub at: DateTime<Utc>,
    pub started: DateTime<Utc>,
    pub ended: DateTime<Utc>,
    pub rows: u64,
    pub refused_rows: u64,
    pub mapped_otherwise: bool,
    pub revision: u64,
    pub runs: Vec<RunNumber>,
    /// Offset in seconds, by whom, against which recording.
    pub clock: Option<(f64, String, String)>,
    /// By whom, and why.
    pub set_aside: Option<(String, String)>,
    pub channels: Vec<ChannelLine>,
    pub refused: Vec<RefusedLine>,
    pub refused_in_all: u64,
    pub remarks: Vec<String>,
    /// Why the report cannot be shown.
    pub no_report: Option<String>,
    pub exceedances: Vec<ExceedanceLine>,
    pub intervals: Vec<IntervalLine>,
    /// Runs to which it could belong: those first whose time it overlaps.
    pub choices: Vec<(RunNumber, bool)>,
    pub may_attach: bool,
    pub trouble: Option<Trouble>,
}

impl RecordingPage {
    pub fn of<P>(
        member: &Member<P>,
        view: View<'_>,
        recording: &Digest,
        report: Result<Report, Told>,
        trouble: Option<Trouble>,
    ) -> Result<Self, Problem> {
        let state = view.state;
        let seen = recording_view(state, recording)?;
        let (report, no_report) = match report {
            Ok(report) => (Some(report), None),
            Err(told) => (None, Some(told.detail)),
        };
        let quality = report.as_ref().map(|report| &report.quality);
        let exceedances = state
            .exceedances
            .iter()
            .filter(|it| it.found.as_ref().is_some_and(|found| found.recording == *recording));
        let intervals = state.recordings.intervals.iter().filter(|it| it.recording == *recording);
        let mut choices: Vec<(RunNumber, bool)> = state
            .runs
            .iter()
            .rev()
            .filter(|run| !seen.runs.contains(&run.number))
            .map(|run| {
                let (begun, over) = run.span();
                let fits = begun <= seen.ended && over.is_none_or(|over| seen.started <= over);
                (run.number, fits)
            })
            .collect();
        choices.sort_by_key(|(_, fits)| !fits);
        Ok(Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            recording: recording.to_string(),
            name: seen.name.to_owned(),
            recorder: seen.recorder.to_string(),
            bytes: seen.bytes,
            by: person(state, seen.by),
            at: seen.at,
            started: seen.started,
            ended: seen.ended,
            rows: seen.rows,
            refused_rows: seen.refused_rows,
            mapped_otherwise: seen.mapped_otherwise_now,
            revision: state.revision(&Amendable::Recording(recording.clone())),
            clock: seen
                .clock
                .as_ref()
                .map(|it| (it.offset_s, person(state, it.by), it.against.to_string())),
            set_aside: seen
                .set_aside
                .as_ref()
                .map(|it| (person(state, it.by), it.reason.to_owned())),
            channels: channels(state, &seen, report.as_ref()),
            refused: quality.map_or_else(Vec::new, |quality| {
                let line = |it: &recordings::Refused| RefusedLine {
                    line: it.line,
                    column: it.column.clone(),
                    found: it.found.clone(),
                    why: rule(it.rule),
                };
                quality.refused.iter().map(line).collect()
            }),
            refused_in_all: quality.map_or(0, |it| it.refused_by_rule.values().sum()),
            remarks: quality
                .map_or_else(Vec::new, |quality| quality.remarks.iter().map(remark).collect()),
            no_report,
            exceedances: exceedances.filter_map(|it| ExceedanceLine::of(state, it)).collect(),
            intervals: intervals.map(|it| IntervalLine::of(state, it)).collect(),
            choices,
            may_attach: member.may(Act::AttachRecordings),
            runs: seen.runs,
            trouble,
        })
    }

    fn here(&self) -> String {
        format!("{}/recordings/{}", self.place, self.recording)
    }

    pub fn body(&self) -> Markup {
        let here = self.here();
        html! {
            h1 { (self.name) }
            p.lead { (counted(self.exceedances.len(), "exceedance", "exceedances")) ", " (self.refused_in_all) " refused cells or rows, " (self.rows) " rows of " (counted(self.channels.len(), "channel", "channels")) }
            @if let Some((by, reason)) = &self.set_aside { p.warn { strong { "Set aside" } " by " (by) ", so that it counts for nothing: " (reason) } }
            @if self.mapped_otherwise { p.warn { "The recorder is mapped otherwise by now. Taken in once more, the file is read by the mapping as it is." } }
            nav.within aria-label="Of this recording" {
                a href={ (here) "/plot" } { "Plots" }
                a href="#exceedances" { "Exceedances" }
                a href="#channels" { "Channels" }
                a href="#refused" { "Refused" }
                a href="#run" { "Run" }
                a href={ (here) "/intervals" } { "Intervals" }
                a href={ (here) "/clock" } { "Clock" }
            }
            dl.pairs {
                dt { "Time" } dd { (moment(self.started)) " to " (moment(self.ended)) ", " (span(self.ended - self.started)) ", by the recorder's clock" }
                dt { "Recorder" } dd { a href={ (self.place) "/recorders/" (self.recorder) } { (self.recorder) } }
                dt { "Taken in" } dd { "by " (self.by) ", " (moment(self.at)) ", " (bytes(self.bytes)) }
                dt { "SHA-256" } dd { code.digest { (self.recording) } }
                dt { "Clock" } dd { (self.clock_told()) }
            }
            (self.beyond())
            (self.of_runs())
            (self.held())
            (self.refusals())
            section {
                h2 #intervals { "Intervals" }
                @if self.intervals.is_empty() { p { "None was taken yet." } }
                ul { @for it in &self.intervals { (it.item(&self.place)) } }
                @if !self.runs.is_empty() { p { a.button href={ (here) "/intervals" } { "Take an interval for a point" } } }
                @else { p { "Attach it to its run first." } }
            }
            (self.aside())
        }
    }

    fn clock_told(&self) -> Markup {
        html! {
            @match &self.clock {
                Some((offset_s, by, against)) => {
                    (rounded(offset_s.abs())) " s " (if *offset_s < 0.0 { "behind" } else { "ahead of" }) " recording "
                    a href={ (self.place) "/recordings/" (against) } { (short(against)) } ", confirmed by " (by)
                }
                None => { "nobody has held it against another recorder's; " a href={ (self.here()) "/clock" } { "compare it" } }
            }
        }
    }

    fn beyond(&self) -> Markup {
        html! {
            section {
                h2 #exceedances { "Exceedances" }
                @if self.exceedances.is_empty() {
                    p { @if self.runs.is_empty() { "It is held against limits once it is attached to its run." } @else { "None is on record. What was watched, and how near each limit came, stands with its run below." } }
                } @else {
                    div.wide tabindex="0" role="region" aria-label="Exceedances" {
                        table.stack {
                            caption { "Each was beyond a limit for longer than its dwell. Times are by the recorder's clock." }
                            thead { tr { th scope="col" { "Exceedance" } th scope="col" { "Limit" } th scope="col" { "Began" } th scope="col" { "Lasted" } th scope="col" { "Peak" } } }
                            tbody { @for it in &self.exceedances { (it.row(&self.place, &self.recording)) } }
                        }
                    }
                }
            }
        }
    }

    fn of_runs(&self) -> Markup {
        let to = format!("{}/attachment", self.here());
        let draft = Draft::new("attach", &to, &self.token, self.trouble.as_ref());
        let told = |(run, fits): &(RunNumber, bool)| {
            let told = if *fits { "its time overlaps" } else { "another time" };
            (run.to_string(), format!("run {run}, {told}"))
        };
        let mut choices: Vec<_> = self
            .runs
            .iter()
            .map(|run| (run.to_string(), format!("run {run} again, by the limits as they are")))
            .collect();
        let new: Vec<_> = self.choices.iter().map(told).collect();
        let fits = self.choices.first().filter(|(_, fits)| *fits).map(|(run, _)| run.to_string());
        let usual = if self.runs.is_empty() { fits.unwrap_or_default() } else { String::new() };
        choices.extend(new);
        choices.insert(0, (String::new(), "choose".to_owned()));
        html! {
            section {
                h2 #run { "Run" }
                @if self.runs.is_empty() { p { "It belongs to no run yet." } }
                ul {
                    @for run in &self.runs {
                        li { a href={ (self.place) "/runs/" (run) } { "Run " (run) } ": " a href={ (self.here()) "/limits/" (run) } { "every limit of run " (run) ", as its recordings show it" } }
                    }
                }
                @if self.set_aside.is_some() {
                } @else if !self.may_attach {
                    p { "Attaching it is for " (Act::AttachRecordings.allowed_in_words()) "." }
                } @else if choices.len() == 1 {
                    p { "There is no run yet to which it could belong." }
                } @else {
                    details open[self.runs.is_empty() || self.trouble.as_ref().is_some_and(|it| it.form == "attach")] {
                        summary { "Attach it to a run, or evaluate it anew" }
                        p { "All recordings of the run are held together against the limits that were in force for it. An open exceedance holds the next rungs until an engineer explains it and the safety officer closes it." }
                        (draft.form(html! {
                            (draft.choice("run:count", "Run", "", &usual, &choices))
                            (draft.send("Attach it and hold it against the limits"))
                        }))
                    }
                }
            }
        }
    }

    fn held(&self) -> Markup {
        html! {
            section {
                h2 #channels { "Channels, and how good they are" }
                @if let Some(why) = &self.no_report { p.warn { (why) } }
                div.wide tabindex="0" role="region" aria-label="Channels" {
                    table.stack {
                        thead { tr { th scope="col" { "Channel" } th scope="col" { "Readings" } th scope="col" { "From, to" } th scope="col" { "Found" } } }
                        tbody {
                            @for it in &self.channels {
                                tr {
                                    td { a href={ (self.here()) "/plot?channel=" (it.code) } { (it.title) } br; code { (it.code) } }
                                    td data-is="Readings" { (it.readings) }
                                    td data-is="From, to" { @match it.span { Some((least, greatest)) => { (rounded(least)) " to " (rounded(greatest)) " " (it.unit) } None => { "no value" } } }
                                    td data-is="Found" { @if it.findings.is_empty() { "nothing" } @for (place, found) in it.findings.iter().enumerate() { @if place > 0 { br; } (found) } }
                                }
                            }
                        }
                    }
                }
            }
        }
    }

    fn refusals(&self) -> Markup {
        html! {
            section {
                h2 #refused { "Refused cells and rows" }
                @if self.refused_in_all == 0 { p { "None. Nothing was filled in where a cell is empty." } }
                @else {
                    p { (self.refused_in_all) " in all, of which " (self.refused_rows) " whole rows. A refused cell is missing, which is never a pass." }
                    details open[self.refused.len() <= 20] {
                        summary { "The first " (self.refused.len()) ", by their lines" }
                        div.wide tabindex="0" role="region" aria-label="Refused cells" {
                            table {
                                thead { tr { th scope="col" { "Line" } th scope="col" { "Column" } th scope="col" { "Stood there" } th scope="col" { "Why" } } }
                                tbody { @for it in &self.refused { tr { td { (it.line) } td { (it.column.as_deref().unwrap_or("the whole row")) } td { code { (it.found) } } td { (it.why) } } } }
                            }
                        }
                    }
                }
                @if !self.remarks.is_empty() { details { summary { (counted(self.remarks.len(), "remark", "remarks")) " on the file" } ul { @for it in &self.remarks { li { (it) } } } } }
            }
        }
    }

    fn aside(&self) -> Markup {
        let to = format!("{}/setting-aside", self.here());
        let draft = Draft::new("set-aside", &to, &self.token, self.trouble.as_ref());
        let refused = self.trouble.as_ref().is_some_and(|trouble| trouble.form == "set-aside");
        html! {
            @if self.may_attach && self.set_aside.is_none() {
                section {
                    h2 #aside { "Set it aside" }
                    details open[refused] {
                        summary { "It is a mistake, such as a file of another aircraft" }
                        p { "It counts for nothing from then on, and what was filled from it does not stand. What it showed beyond limits stays open." }
                        (draft.form(html! {
                            (draft.hidden("form.revision", self.revision))
                            (draft.text("reason", "Why", ""))
                            p.send { button.danger { "Set it aside" } }
                        }))
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::{codes, long};
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            recording: "9f86d081".repeat(8),
            name: long("bms.csv", many),
            recorder: "bms".to_owned(),
            bytes: 123_456,
            by: "Tomas".to_owned(),
            at: DateTime::UNIX_EPOCH,
            started: DateTime::UNIX_EPOCH,
            ended: DateTime::UNIX_EPOCH,
            rows: 36_000,
            refused_rows: 3,
            mapped_otherwise: many > 10,
            revision: 12,
            runs: (0..many as u32).map(RunNumber).collect(),
            clock: (many > 10).then(|| (-4.7, "Tomas".to_owned(), "0".repeat(64))),
            set_aside: (many > 10).then(|| ("Tomas".to_owned(), long("Another tug.", many))),
            channels: (0..many)
                .map(|place| ChannelLine {
                    code: format!("pack_v_{place}"),
                    title: long("Voltage of the pack", many),
                    unit: "V".to_owned(),
                    readings: 36_000,
                    span: (place % 2 == 0).then_some((312.4, 402.1)),
                    findings: vec!["3 gaps, 12.4 s in all".to_owned(); place],
                })
                .collect(),
            refused: (0..many)
                .map(|place| RefusedLine {
                    line: place as u64,
                    column: (place % 2 == 0).then(|| "U_pack".to_owned()),
                    found: long("---", many),
                    why: "it is not a number",
                })
                .collect(),
            refused_in_all: many as u64,
            remarks: vec![long("A row was empty.", many); many],
            no_report: (many > 10).then(|| "The columns have no report.".to_owned()),
            exceedances: (0..many as u32)
                .map(|number| ExceedanceLine::sample(number, &long("Winding", many)))
                .collect(),
            intervals: (0..many as u32)
                .map(|number| IntervalLine {
                    number: programme::codes::IntervalNumber(number),
                    run: RunNumber(3),
                    point: codes(1).remove(0),
                    from: DateTime::UNIX_EPOCH,
                    to: DateTime::UNIX_EPOCH,
                    counts: false,
                })
                .collect(),
            choices: (100..100 + many as u32).map(|run| (RunNumber(run), run % 2 == 0)).collect(),
            may_attach: true,
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
