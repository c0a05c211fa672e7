//! A DBC file: which messages and signals there are, and how a mapped signal is decoded.

use std::collections::{BTreeMap, BTreeSet};

use can_dbc::{Dbc, DbcError, Message, MultiplexIndicator, NumericValue, Signal};
use can_dbc::{SignalExtendedValueType, ValueType};

use super::frame::EXTENDED;
use super::layout::{Kind, Layout};
use super::signal::{Decoded, Selector};
use crate::Unreadable;
use crate::format::Field;

/// Bytes of a DBC file that are taken at most.
const MOST_BYTES: u64 = 1 << 20;
/// Highest standard identifier.
const HIGHEST_STANDARD: u64 = 0x7FF;
/// The message that tools put signals in that belong to none.
const NO_MESSAGE: &str = "VECTOR__INDEPENDENT_SIG_MSG";
/// Multiplexors that can stand above one another.
const MOST_LEVELS: usize = 8;

/// A DBC file that has been read.
pub(super) struct Database {
    dbc: Dbc,
    value_types: BTreeMap<(u32, String), SignalExtendedValueType>,
    selections: BTreeMap<(u32, String), Selection>,
}

/// What a `SG_MUL_VAL_` line says of a signal.
struct Selection {
    /// The name of its multiplexor.
    multiplexor: String,
    /// The values of that one at which it is there: lowest and highest of each range.
    values: Vec<(u64, u64)>,
}

impl Database {
    /// Reads the text of a DBC file.
    ///
    /// # Errors
    ///
    /// [`Unreadable`] where it is over 1 MiB, is not a DBC file, or has a standard identifier above 11 bits.
    pub(super) fn read(text: &str) -> Result<Self, Unreadable> {
        if text.len() as u64 > MOST_BYTES {
            let what = "the number of bytes of the DBC file";
            return Err(Unreadable::TooMuch { line: 1, what, most: MOST_BYTES });
        }
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        check_identifiers(text)?;
        // The parser wants every statement ended by a line.
        let whole = format!("{text}\n");
        let dbc = Dbc::try_from(whole.as_str()).map_err(|fault| not_a_dbc(text, &fault))?;
        let value_types = dbc.signal_extended_value_type_list.iter().map(|entry| {
            let key = (entry.message_id.raw(), entry.signal_name.clone());
            (key, entry.signal_extended_value_type)
        });
        let selections = dbc.extended_multiplex.iter().map(|entry| {
            let ranges = entry.mappings.iter().map(|range| (range.min_value, range.max_value));
            let key = (entry.message_id.raw(), entry.signal_name.clone());
            let multiplexor = entry.multiplexor_signal_name.clone();
            (key, Selection { multiplexor, values: ranges.collect() })
        });
        let (value_types, selections) = (value_types.collect(), selections.collect());
        Ok(Self { dbc, value_types, selections })
    }

    /// The messages whose frames a bus can have.
    fn messages(&self) -> impl Iterator<Item = &Message> {
        self.dbc.messages.iter().filter(|message| message.name != NO_MESSAGE)
    }

    /// The names of all signals, as a mapping writes them.
    pub(super) fn names(&self) -> Vec<String> {
        let named = |message: &Message| {
            let name = message.name.clone();
            message.signals.iter().map(move |signal| format!("{name}.{}", signal.name)).collect()
        };
        self.messages().flat_map(|message| -> Vec<String> { named(message) }).collect()
    }

    /// The signals of the messages with these identifiers.
    pub(super) fn fields(&self, seen: &BTreeSet<u32>) -> Vec<Field> {
        let messages = self.messages().filter(|message| seen.contains(&message.id.raw()));
        messages.flat_map(|message| message.signals.iter().map(|of| field(message, of))).collect()
    }

    /// The signals of every message.
    pub(super) fn all_fields(&self) -> Vec<Field> {
        let each = |message: &Message| -> Vec<Field> {
            message.signals.iter().map(|of| field(message, of)).collect()
        };
        self.messages().flat_map(each).collect()
    }

    /// How the signals with these names are decoded: the names in their order, each once. Names that the file lacks are
    /// left out.
    ///
    /// # Errors
    ///
    /// [`Unreadable::NotTheFormat`] where the file says two things of a named signal, or what cannot be.
    pub(super) fn decoders(&self, names: &[String]) -> Result<Vec<Decoded>, Unreadable> {
        let mut decoders: Vec<Decoded> = Vec::new();
        for name in names {
            if decoders.iter().any(|known| known.name == *name) {
                continue;
            }
            let (interface, written) = match name.split_once(':') {
                Some((interface, written)) => (Some(interface), written),
                None => (None, name.as_str()),
            };
            let Some((message_name, signal_name)) = written.split_once('.') else { continue };
            let mut found = self.messages().filter(|message| message.name == message_name);
            let Some(message) = found.next() else { continue };
            if found.next().is_some() || self.share_identifier(message) {
                return Err(contradiction(name, "its message's name or identifier stands twice"));
            }
            let mut found = message.signals.iter().filter(|signal| signal.name == signal_name);
            let Some(signal) = found.next() else { continue };
            if found.next().is_some() {
                return Err(contradiction(name, "the signal stands twice in its message"));
            }
            let decoded = self.decoder(name, message, signal);
            let mut decoded = decoded.map_err(|why| contradiction(name, why))?;
            decoded.interface = interface.map(str::to_owned);
            decoders.push(decoded);
        }
        Ok(decoders)
    }

    fn share_identifier(&self, message: &Message) -> bool {
        self.messages().filter(|other| other.id == message.id).nth(1).is_some()
    }

    fn decoder(
        &self,
        name: &str,
        message: &Message,
        signal: &Signal,
    ) -> Result<Decoded, &'static str> {
        let layout = layout(signal)?;
        if !signal.factor.is_finite() || !signal.offset.is_finite() {
            return Err("its factor or its offset is no finite figure");
        }
        Ok(Decoded {
            name: name.to_owned(),
            interface: None,
            message: message.id.raw(),
            layout,
            kind: self.kind(message, signal)?,
            factor: signal.factor,
            offset: signal.offset,
            selectors: self.selectors(message, signal)?,
        })
    }

    fn kind(&self, message: &Message, signal: &Signal) -> Result<Kind, &'static str> {
        let whole = match signal.value_type {
            ValueType::Signed => Kind::Signed,
            ValueType::Unsigned => Kind::Unsigned,
        };
        match self.value_types.get(&(message.id.raw(), signal.name.clone())) {
            None | Some(SignalExtendedValueType::SignedOrUnsignedInteger) => Ok(whole),
            Some(SignalExtendedValueType::IEEEfloat32Bit) if signal.size == 32 => Ok(Kind::Single),
            Some(SignalExtendedValueType::IEEEdouble64bit) if signal.size == 64 => Ok(Kind::Double),
            Some(_) => Err("its SIG_VALTYPE_ line does not fit its number of bits"),
        }
    }

    /// What must hold for a multiplexed signal to be in a frame: its multiplexor's value, and that one's own, and so on.
    fn selectors(&self, message: &Message, signal: &Signal) -> Result<Vec<Selector>, &'static str> {
        let mut selectors = Vec::new();
        let mut below = signal;
        loop {
            let own = match below.multiplexer_indicator {
                MultiplexIndicator::Plain | MultiplexIndicator::Multiplexor => {
                    return Ok(selectors);
                }
                MultiplexIndicator::MultiplexedSignal(value)
                | MultiplexIndicator::MultiplexorAndMultiplexedSignal(value) => value,
            };
            if selectors.len() == MOST_LEVELS {
                return Err("its multiplexors stand in a circle, or more than eight deep");
            }
            let key = (message.id.raw(), below.name.clone());
            let (above, values) = match self.selections.get(&key) {
                Some(Selection { multiplexor, values }) => {
                    let named = message.signals.iter().find(|other| other.name == *multiplexor);
                    (named.ok_or("its multiplexor is not in its message")?, values.clone())
                }
                None => (only_multiplexor(message)?, vec![(own, own)]),
            };
            selectors.push(Selector { layout: layout(above)?, values });
            below = above;
        }
    }
}

fn layout(signal: &Signal) -> Result<Layout, &'static str> {
    Layout::of(signal.start_bit, signal.size, signal.byte_order)
        .ok_or("its bits are not inside a frame, or not 1 to 64")
}

/// The multiplexor of a message that has one, for signals that do not say which is theirs.
fn only_multiplexor(message: &Message) -> Result<&Signal, &'static str> {
    let mut multiplexors = message.signals.iter().filter(|signal| {
        matches!(
            signal.multiplexer_indicator,
            MultiplexIndicator::Multiplexor
                | MultiplexIndicator::MultiplexorAndMultiplexedSignal(_)
        )
    });
    match (multiplexors.next(), multiplexors.next()) {
        (Some(only), None) => Ok(only),
        (None, _) => Err("it is multiplexed, and its message has no multiplexor"),
        (Some(_), Some(_)) => {
            Err("its message has several multiplexors, and no SG_MUL_VAL_ line says which is its")
        }
    }
}

fn field(message: &Message, signal: &Signal) -> Field {
    let (lowest, highest) = (number(signal.min), number(signal.max));
    // Equal ends are how DBC files say that there is no range.
    let ranged = lowest < highest;
    Field {
        name: format!("{}.{}", message.name, signal.name),
        unit: Some(signal.unit.clone()).filter(|unit| !unit.is_empty()),
        lowest: ranged.then_some(lowest),
        highest: ranged.then_some(highest),
    }
}

fn number(value: NumericValue) -> f64 {
    match value {
        NumericValue::Uint(number) => number as f64,
        NumericValue::Int(number) => number as f64,
        NumericValue::Double(number) => number,
    }
}

/// The parser keeps 16 bits of a standard identifier: a greater one would become another message's.
fn check_identifiers(text: &str) -> Result<(), Unreadable> {
    for (number, line) in (1_u64..).zip(text.lines()) {
        let mut words = line.split_whitespace();
        if !matches!(words.next(), Some("BO_" | "SG_MUL_VAL_" | "SIG_VALTYPE_")) {
            continue;
        }
        let Some(id) = words.next().and_then(|word| word.parse::<u64>().ok()) else { continue };
        if id > HIGHEST_STANDARD && id & u64::from(EXTENDED) == 0 {
            let why = format!(
                "the DBC file has the identifier {id}, which is above the 11 bits of a standard frame (2047); an \
                 extended one has 2147483648 added"
            );
            return Err(Unreadable::NotTheFormat { line: number, why });
        }
    }
    Ok(())
}

fn not_a_dbc(text: &str, fault: &DbcError) -> Unreadable {
    let DbcError::Pest(place) = fault else {
        let why = "the DBC file has a statement that cannot be read; save it again with the tool \
                   that made it"
            .to_owned();
        return Unreadable::NotTheFormat { line: 1, why };
    };
    let found = place.line().trim_end();
    let line = (1_u64..).zip(text.lines()).find(|(_, line)| line.trim_end() == found);
    let shown: String = found.trim().chars().take(80).collect();
    let why =
        format!("the DBC file cannot be read at “{shown}”; give the DBC file of the bus as text");
    Unreadable::NotTheFormat { line: line.map_or(1, |(number, _)| number), why }
}

fn contradiction(name: &str, why: &str) -> Unreadable {
    let why = format!("the DBC file does not say how {name} is to be read: {why}");
    Unreadable::NotTheFormat { line: 1, why }
}
