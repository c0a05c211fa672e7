//! Gives a programme back as the document that would found it.

use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value};

use super::ProgrammeDocument;
use crate::state::State;

impl ProgrammeDocument {
    /// What a programme says now. Points taken out of the plan, items taken off and people who have left are not in it.
    pub fn of(state: &State) -> Self {
        let in_plan = state.ladder.rungs().iter().filter(|rung| rung.dropped.is_none());
        Self {
            title: (state.length() > 0).then(|| state.title.clone()),
            aircraft: state.aircraft.clone(),
            policy: state.policy.clone(),
            people: state.people.values().filter(|it| !it.roles.is_empty()).cloned().collect(),
            items: state.configuration.items.values().map(|fitted| fitted.item.clone()).collect(),
            channels: state.channels.values().cloned().collect(),
            recorders: state.recorders.values().cloned().collect(),
            limits: state.limits.by_code.values().map(|it| (*it.limit).clone()).collect(),
            checks: state.checks.by_code.values().map(|it| it.check.clone()).collect(),
            hazards: state.hazards.values().map(|it| (*it.hazard).clone()).collect(),
            documents: state.documents.values().cloned().collect(),
            points: in_plan.map(|rung| (*rung.point).clone()).collect(),
        }
    }

    /// As TOML, laid out for people who edit it.
    ///
    /// # Errors
    ///
    /// Where a figure has no TOML form. A document that was read has none such.
    pub fn to_toml(&self) -> Result<String, toml_edit::ser::Error> {
        let mut document = toml_edit::ser::to_document(self)?;
        lay_out(&mut document);
        Ok(document.to_string())
    }
}

/// The document that a programme is now; importing it anywhere gives the same programme.
///
/// # Errors
///
/// Where a figure has no TOML form; no record holds one.
pub fn export(state: &State) -> Result<String, toml_edit::ser::Error> {
    ProgrammeDocument::of(state).to_toml()
}

/// Sections become tables, lists of sections lists of tables, and everything deeper stays in its line.
fn lay_out(document: &mut DocumentMut) {
    for (_, section) in document.as_table_mut().iter_mut() {
        match std::mem::take(section) {
            Item::Value(Value::InlineTable(table)) => {
                *section = Item::Table(as_section(table));
            }
            Item::Value(Value::Array(list)) => {
                let mut tables = ArrayOfTables::new();
                for value in list {
                    if let Value::InlineTable(table) = value {
                        tables.push(as_section(table));
                    }
                }
                *section = Item::ArrayOfTables(tables);
            }
            other => *section = other,
        }
    }
}

fn as_section(inline: InlineTable) -> Table {
    let mut table = inline.into_table();
    table.set_implicit(false);
    for (_, field) in table.iter_mut() {
        let Item::Value(value) = field else { continue };
        match value {
            Value::InlineTable(inner) if inner.iter().any(|(_, value)| is_nested(value)) => {
                let inner = std::mem::take(inner);
                *field = Item::Table(as_section(inner));
            }
            Value::Array(list) if list.iter().any(is_nested) || is_long(list) => one_a_line(list),
            _ => {}
        }
    }
    table
}

fn is_nested(value: &Value) -> bool {
    match value {
        Value::InlineTable(_) => true,
        Value::Array(list) => list.iter().any(|value| value.is_inline_table() || value.is_array()),
        _ => false,
    }
}

fn is_long(list: &Array) -> bool {
    list.to_string().len() > 90
}

fn one_a_line(list: &mut Array) {
    for value in list.iter_mut() {
        value.decor_mut().set_prefix("\n  ");
    }
    list.set_trailing("\n");
    list.set_trailing_comma(true);
}
