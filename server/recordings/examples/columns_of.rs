//! Shows what a recorder file holds: all columns that it offers, as JSON. `tests/reference` compares it with other
//! readers of the same formats.
//!
//!     columns_of candump FILE DATABASE.dbc
//!     columns_of igc|nmea|gpx FILE

use std::error::Error;
use std::fs::File;

use recordings::format::{Field, PassedOver, candump, gpx, igc, nmea};
use recordings::{Block, ChannelSpec, ColumnPlan, Micros, Refused, Sink, Unreadable};
use serde_json::{Value, json};

#[derive(Default)]
struct Kept {
    lines: Vec<u64>,
    times: Vec<Micros>,
    columns: Vec<Vec<f64>>,
    refused: Vec<Refused>,
}

impl Sink for Kept {
    fn take(&mut self, block: &mut Block) -> Result<(), Unreadable> {
        self.columns.resize(block.columns.len(), Vec::new());
        for (kept, column) in self.columns.iter_mut().zip(&mut block.columns) {
            kept.append(column);
        }
        self.lines.append(&mut block.lines);
        self.times.append(&mut block.times);
        self.refused.append(&mut block.refused);
        Ok(())
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let shown = match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["candump", file, dbc] => {
            let dbc = candump::dbc_text(&std::fs::read(dbc)?);
            let plan = candump::CandumpPlan { dbc };
            let fields = candump::fields(File::open(file)?, &plan)?;
            show(fields, |columns, sink| {
                Ok(candump::read(File::open(file)?, &plan, columns, sink)?)
            })?
        }
        ["igc", file] => show(igc::fields(File::open(file)?)?, |columns, sink| {
            Ok(igc::read(File::open(file)?, columns, sink)?)
        })?,
        ["nmea", file] => show(nmea::fields(File::open(file)?)?, |columns, sink| {
            Ok(nmea::read(File::open(file)?, columns, sink)?)
        })?,
        ["gpx", file] => show(gpx::fields(File::open(file)?)?, |columns, sink| {
            Ok(gpx::read(File::open(file)?, columns, sink)?)
        })?,
        _ => {
            return Err(
                "columns_of candump FILE DATABASE.dbc, or columns_of igc|nmea|gpx FILE".into()
            );
        }
    };
    println!("{shown}");
    Ok(())
}

fn show(
    fields: Vec<Field>,
    read: impl FnOnce(&[ColumnPlan], &mut dyn Sink) -> Result<PassedOver, Box<dyn Error>>,
) -> Result<Value, Box<dyn Error>> {
    let plans: Vec<ColumnPlan> = fields.iter().map(as_it_is).collect();
    let mut kept = Kept::default();
    let passed_over = read(&plans, &mut kept)?;
    // NaN, which is missing, becomes null.
    let columns =
        fields.iter().zip(&kept.columns).map(|(field, column)| (field.name.clone(), json!(column)));
    Ok(json!({
        "fields": fields,
        "times": kept.times,
        "lines": kept.lines,
        "columns": columns.collect::<serde_json::Map<_, _>>(),
        "refused": kept.refused,
        "passed_over": passed_over,
    }))
}

fn as_it_is(field: &Field) -> ColumnPlan {
    let channel = ChannelSpec {
        code: field.name.clone(),
        unit: field.unit.clone().unwrap_or_default(),
        lowest: None,
        highest: None,
        accuracy: None,
    };
    ColumnPlan { column: field.name.clone(), channel, scale: 1.0, offset: 0.0 }
}
