//! candump text with a DBC file: frames of a CAN bus, and what their bits mean.
//!
//! A column of the mapping is `Message.Signal` of the DBC file; where a file has the frames of several buses,
//! `interface:Message.Signal`, as `can1:Pack.Voltage`. A row has the signals of all frames with one stamp; signals of
//! other frames are missing in it. The smallest and greatest figures of the DBC file are offered to whoever
//! maps (see [`fields`]); what is refused is said by the channel's own.

mod database;
mod frame;
mod layout;
mod signal;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;

use serde::{Deserialize, Serialize};

use self::database::Database;
use self::frame::{Data, Fault, Frame, Line};
use self::signal::{Decoded, Said};
use super::lines::{LINES_TO_LOOK_AT, LINES_TO_RECOGNISE, Lines};
use super::rows::Rows;
use super::{Field, PassedOver};
use crate::{ColumnPlan, Micros, Remark, Rule, Sink, Unreadable};

/// How a recorder's frames are to be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CandumpPlan {
    /// The text of the DBC file, at most 1 MiB.
    pub dbc: String,
}

/// The text of a DBC file: UTF-8, or else Windows-1252, in which most tools write them.
pub fn dbc_text(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => can_dbc::encodings::WINDOWS_1252.decode(bytes).0.into_owned(),
    }
}

/// Reads the mapped signals of a candump file, in the form of its logs or of its screen with absolute stamps.
///
/// Frames with one stamp that follow each other become one row; a signal that comes twice in it keeps its first value,
/// and the second is refused as [`Rule::TimeDoubled`]. Frames without a mapped signal make no row. A frame too short
/// for a mapped signal is refused in that signal's column, a figure that is not finite too.
///
/// Gives what was passed over: frames without a mapped signal, remote requests, error frames.
///
/// # Errors
///
/// [`Unreadable`] where the DBC file cannot be read or lacks a mapped signal, where none of the first 1,000 lines is
/// candump's, or where columns name no interface and their messages come from two.
pub fn read(
    source: impl Read,
    plan: &CandumpPlan,
    columns: &[ColumnPlan],
    sink: &mut dyn Sink,
) -> Result<PassedOver, Unreadable> {
    let database = Database::read(&plan.dbc)?;
    let wanted: Vec<String> = columns.iter().map(|column| column.column.clone()).collect();
    let signals = database.decoders(&wanted)?;
    let mut names: Vec<String> = signals.iter().map(|signal| signal.name.clone()).collect();
    if wanted.iter().any(|name| !names.contains(name)) {
        names = database.names();
    }
    let rows = Rows::of(&names, columns, sink)?;
    let mut reading = Reading::of(signals, rows);
    let mut lines = Lines::of(source);
    let mut recognised = false;
    while let Some((number, text)) = lines.next()? {
        if text.trim_ascii().is_empty() {
            continue;
        }
        match frame::parse(text) {
            Ok(line) => {
                recognised = true;
                reading.take(number, &line)?;
            }
            Err(fault) => reading.refuse(number, text, fault)?,
        }
        if !recognised && number >= LINES_TO_RECOGNISE {
            return Err(not_candump());
        }
    }
    if !recognised && reading.refused {
        return Err(not_candump());
    }
    if lines.ends_open() {
        reading.rows.remark(Remark::EndsOpen);
    }
    reading.finish()
}

/// The signals of the messages that come in the first 100,000 lines of a file, in the order of the DBC file; with their
/// interface where there are several.
///
/// # Errors
///
/// [`Unreadable`] as [`read`] gives it for the DBC file, and for a file of which no line is candump's.
pub fn fields(source: impl Read, plan: &CandumpPlan) -> Result<Vec<Field>, Unreadable> {
    let database = Database::read(&plan.dbc)?;
    let mut seen: BTreeMap<Vec<u8>, BTreeSet<u32>> = BTreeMap::new();
    let mut lines = Lines::of(source);
    let mut recognised = false;
    while let Some((number, text)) = lines.next()? {
        if number > LINES_TO_LOOK_AT {
            break;
        }
        let Ok(line) = frame::parse(text) else { continue };
        recognised = true;
        if let Frame::Data(data) = line.frame {
            if let Some(messages) = seen.get_mut(line.interface) {
                messages.insert(data.id);
            } else {
                seen.insert(line.interface.to_vec(), BTreeSet::from([data.id]));
            }
        }
    }
    if !recognised {
        return Err(not_candump());
    }
    let several = seen.len() > 1;
    let of_interface = |(interface, messages): (&Vec<u8>, &BTreeSet<u32>)| {
        let mut fields = database.fields(messages);
        if several {
            let interface = String::from_utf8_lossy(interface);
            fields.iter_mut().for_each(|field| field.name = format!("{interface}:{}", field.name));
        }
        fields
    };
    Ok(seen.iter().flat_map(of_interface).collect())
}

/// Every signal that a DBC file knows, in its order, whether it was ever recorded or not.
///
/// # Errors
///
/// [`Unreadable`] as [`read`] gives it for the DBC file.
pub fn signals(plan: &CandumpPlan) -> Result<Vec<Field>, Unreadable> {
    Ok(Database::read(&plan.dbc)?.all_fields())
}

fn not_candump() -> Unreadable {
    let why = "this is not candump text with stamps in seconds, such as “(1436509052.249713) can0 \
               123#DEADBEEF”; record with candump -l, or with candump -ta"
        .to_owned();
    Unreadable::NotTheFormat { line: 1, why }
}

/// The mapped signals, by the messages that carry them.
struct Bus {
    signals: Vec<Decoded>,
    /// Identifiers of messages in rising order, each with the places of its signals.
    messages: Vec<(u32, Vec<usize>)>,
}

impl Bus {
    fn of(signals: Vec<Decoded>) -> Self {
        let ids: BTreeSet<u32> = signals.iter().map(|signal| signal.message).collect();
        let of_message = |id: u32| {
            let all = signals.iter().enumerate();
            (id, all.filter(|(_, signal)| signal.message == id).map(|(at, _)| at).collect())
        };
        Self { messages: ids.into_iter().map(of_message).collect(), signals }
    }

    /// What a frame says of each mapped signal of its message, with whether the signal's column names its interface; empty
    /// where it says nothing of any.
    fn said_by<'a>(
        &'a self,
        interface: &'a [u8],
        data: &'a Data,
    ) -> impl Iterator<Item = (usize, Said, bool)> + 'a {
        let found = self.messages.binary_search_by_key(&data.id, |(id, _)| *id).ok();
        let message = found.and_then(|at| self.messages.get(at));
        let places = message.into_iter().flat_map(|(_, places)| places.iter().copied());
        places.filter_map(move |at| {
            let signal = self.signals.get(at)?;
            let named = signal.interface.as_ref();
            if named.is_some_and(|named| named.as_bytes() != interface) {
                return None;
            }
            let said = signal.said_by(data.bytes());
            (said != Said::Nothing).then_some((at, said, named.is_some()))
        })
    }
}

/// A row that is being put together.
struct Row {
    /// Line and moment of its first frame; absent between rows.
    begun: Option<(u64, Micros)>,
    figures: Vec<f64>,
    /// Which signals have come, also those that were refused.
    come: Vec<bool>,
}

impl Row {
    fn of(signals: usize) -> Self {
        Self { begun: None, figures: vec![f64::NAN; signals], come: vec![false; signals] }
    }

    /// Gives on the row before, where this moment is another.
    fn begin(&mut self, line: u64, time: Micros, rows: &mut Rows<'_>) -> Result<(), Unreadable> {
        if self.begun.is_some_and(|(_, begun)| begun == time) {
            return Ok(());
        }
        self.give(rows)?;
        self.begun = Some((line, time));
        Ok(())
    }

    fn give(&mut self, rows: &mut Rows<'_>) -> Result<(), Unreadable> {
        if let Some((line, time)) = self.begun.take() {
            rows.take(line, time, &self.figures)?;
            self.figures.fill(f64::NAN);
            self.come.fill(false);
        }
        Ok(())
    }

    /// Puts a signal's figure in its place, or gives why it is refused.
    fn put(&mut self, at: usize, said: Said, frame: &[u8]) -> Option<(String, Rule)> {
        let (figure, come) = (self.figures.get_mut(at)?, self.come.get_mut(at)?);
        let came_before = std::mem::replace(come, true);
        match said {
            Said::Nothing => None,
            Said::Cut => Some((hexadecimal(frame), Rule::Damaged)),
            Said::Figure(value) if came_before => Some((value.to_string(), Rule::TimeDoubled)),
            Said::Figure(value) if !value.is_finite() => Some((value.to_string(), Rule::NotFinite)),
            Said::Figure(value) => {
                *figure = value;
                None
            }
        }
    }
}

/// A file on its way.
struct Reading<'a> {
    bus: Bus,
    rows: Rows<'a>,
    row: Row,
    /// The interface that a message of a column without one came from.
    interface: Option<Vec<u8>>,
    passed_over: PassedOver,
    refused: bool,
}

impl<'a> Reading<'a> {
    fn of(signals: Vec<Decoded>, rows: Rows<'a>) -> Self {
        Self {
            row: Row::of(signals.len()),
            bus: Bus::of(signals),
            rows,
            interface: None,
            passed_over: PassedOver::default(),
            refused: false,
        }
    }

    fn take(&mut self, number: u64, line: &Line<'_>) -> Result<(), Unreadable> {
        let data = match &line.frame {
            Frame::Data(data) => data,
            Frame::Remote => {
                self.passed_over.count("remote requests");
                return Ok(());
            }
            Frame::Error => {
                self.passed_over.count("error frames");
                return Ok(());
            }
        };
        let mut said_any = false;
        for (at, said, interface_is_named) in self.bus.said_by(line.interface, data) {
            if !interface_is_named {
                check_interface(&mut self.interface, number, line.interface)?;
            }
            if !said_any {
                self.row.begin(number, line.time, &mut self.rows)?;
                said_any = true;
            }
            if let Some((found, rule)) = self.row.put(at, said, data.bytes()) {
                self.rows.refuse_cell(number, at, found.as_bytes(), rule)?;
            }
        }
        if !said_any {
            self.passed_over.count("frames without a mapped signal");
        }
        Ok(())
    }

    fn refuse(&mut self, number: u64, text: &[u8], fault: Fault) -> Result<(), Unreadable> {
        self.refused = true;
        let rule = match fault {
            Fault::Moment => Rule::NotAMoment,
            Fault::Frame => Rule::Damaged,
        };
        self.rows.refuse_row(number, text.trim_ascii(), rule)
    }

    fn finish(mut self) -> Result<PassedOver, Unreadable> {
        self.row.give(&mut self.rows)?;
        self.rows.finish()?;
        Ok(self.passed_over)
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02X}")).collect()
}

/// Two interfaces may be two buses on which one identifier means two things.
fn check_interface(
    known: &mut Option<Vec<u8>>,
    number: u64,
    interface: &[u8],
) -> Result<(), Unreadable> {
    let Some(first) = known else {
        *known = Some(interface.to_vec());
        return Ok(());
    };
    if first == interface {
        return Ok(());
    }
    let name = String::from_utf8_lossy;
    let why = format!(
        "mapped messages come from {} and from {}, which may be two buses; write the interface before the column, as \
         {}:Message.Signal",
        name(first),
        name(interface),
        name(interface)
    );
    Err(Unreadable::NotTheFormat { line: number, why })
}
