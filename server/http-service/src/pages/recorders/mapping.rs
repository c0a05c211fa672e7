//! What the page of a recorder's mapping shows.

use evaluation::mapping::{ColumnSeen, Proposal};
use maud::{Markup, html};
use programme::codes::RecorderCode;
use programme::measure::Unit;
use programme::nouns::{DecimalMark, TimeForm};
use programme::people::Act;
use programme::state::{Amendable, State};

use super::columns::{Column, Rows, json, mapped, rows_of, seen, told, word};
use crate::pages::door::Member;
use crate::pages::form::{Draft, Trouble};
use crate::problem::Problem;

/// The page with a mapping.
#[derive(Debug, Clone)]
pub(crate) struct MappingPage {
    pub place: String,
    pub token: String,
    pub may_describe: bool,
    /// The file that was looked at.
    pub file: Option<String>,
    /// The recorder, where there is one already, with the record that described it.
    pub known: Option<(String, u64)>,
    pub title: String,
    /// What is still to be filled in or made sure of.
    pub gaps: Vec<String>,
    /// The first rows as they stand in the file.
    pub first_rows: Vec<Vec<String>>,
    /// Absent where the format says by itself how it is read; that stands in JSON beside it.
    pub rows: Option<Rows>,
    pub file_json: String,
    pub columns: Vec<Column>,
    /// Code, and what is said of it.
    pub channels: Vec<(String, String)>,
    pub trouble: Option<Trouble>,
}

impl MappingPage {
    fn bare<P>(member: &Member<P>, state: &State) -> Self {
        let channels = state.channels.values().filter(|it| it.derived_from.is_none());
        Self {
            place: member.place(""),
            token: member.visitor.form_token.clone(),
            may_describe: member.may(Act::DescribeRecorders),
            file: None,
            known: None,
            title: String::new(),
            gaps: Vec::new(),
            first_rows: Vec::new(),
            rows: None,
            file_json: String::new(),
            columns: Vec::new(),
            channels: channels
                .map(|it| (it.code.to_string(), format!("{}: {} ({})", it.code, it.title, it.unit)))
                .collect(),
            trouble: None,
        }
    }

    /// What a file offers that was looked at.
    pub fn of_file<P>(
        member: &Member<P>,
        state: &State,
        (name, proposal): (&str, &Proposal),
        of: Option<&RecorderCode>,
    ) -> Result<Self, Problem> {
        let draft = &proposal.recorder;
        let known = of.and_then(|code| state.recorders.get(code));
        let offered = |column: &ColumnSeen| {
            let of_known =
                known.and_then(|it| it.columns.iter().find(|it| it.column == column.column));
            of_known.or_else(|| draft.columns.iter().find(|it| it.column == column.column))
        };
        Ok(Self {
            file: Some(name.to_owned()),
            known: known.map(|it| {
                let revision = state.revision(&Amendable::Recorder(it.code.clone()));
                (it.code.to_string(), revision)
            }),
            title: known.map(|it| it.title.clone()).unwrap_or_default(),
            gaps: proposal.gaps.clone(),
            first_rows: proposal.first_rows.clone(),
            rows: rows_of(&draft.file),
            file_json: json(&draft.file),
            columns: proposal.columns.iter().map(|it| seen(it, offered(it))).collect(),
            ..Self::bare(member, state)
        })
    }

    /// How a recorder is mapped.
    pub fn of_recorder<P>(
        member: &Member<P>,
        state: &State,
        code: &RecorderCode,
    ) -> Result<Self, Problem> {
        let recorder =
            state.recorders.get(code).ok_or_else(|| Problem::unknown("recorder", code))?;
        let revision = state.revision(&Amendable::Recorder(code.clone()));
        Ok(Self {
            known: Some((code.to_string(), revision)),
            title: recorder.title.clone(),
            rows: rows_of(&recorder.file),
            file_json: json(&recorder.file),
            columns: recorder.columns.iter().map(mapped).collect(),
            ..Self::bare(member, state)
        })
    }

    /// The form again as it was sent.
    pub fn again<P>(member: &Member<P>, state: &State, trouble: Trouble) -> Self {
        let typed = |name: &str| trouble.typed(name).unwrap_or_default().to_owned();
        let column = |place: usize| {
            let name = trouble.typed(&format!("columns[{place}].column"))?;
            let of = |field: &str| typed(&format!("columns[{place}].{field}"));
            Some(Column {
                name: name.to_owned(),
                about: typed(&format!("form.about[{name}]")),
                channel: of("channel?"),
                unit: of("unit"),
                scale: None,
                inverted: false,
                may_be: Vec::new(),
            })
        };
        let rows = trouble.typed("file.time.column").map(|column| Rows {
            delimiter: None,
            decimal: DecimalMark::Point,
            header_line: 1,
            unit_row: false,
            time_column: column.to_owned(),
            time_form: TimeForm::Iso8601,
        });
        let revision = typed("form.revision").parse().ok();
        Self {
            known: revision.map(|revision| (typed("code"), revision)),
            title: typed("title"),
            rows,
            file_json: typed("file:chosen"),
            columns: (0..).map_while(column).collect(),
            trouble: Some(trouble),
            ..Self::bare(member, state)
        }
    }

    pub fn body(&self) -> Markup {
        let to = format!("{}/recorders", self.place);
        let draft = Draft::new("describe", &to, &self.token, self.trouble.as_ref());
        html! {
            h1 {
                @match (&self.file, &self.known) {
                    (Some(file), _) => { "What " (file) " offers" }
                    (None, Some((code, _))) => { "Recorder " (code) }
                    (None, None) => { "The mapping of a new recorder" }
                }
            }
            p { a href={ (self.place) "/recorders" } { "All recorders" } " · " a href={ (self.place) "/recordings" } { "Recordings" } }
            @if self.file.is_some() && self.trouble.is_none() {
                p { "Nothing was recorded. A channel stands already beside a column only where name and unit speak for one; make sure of each." }
                @if !self.gaps.is_empty() {
                    section.warn { h2 #gaps { "To be filled in or made sure of" } ul { @for gap in &self.gaps { li { (gap) } } } }
                }
            }
            (self.seen_rows())
            @if !self.may_describe {
                p { "Describing recorders is for " (Act::DescribeRecorders.allowed_in_words()) "." }
                (self.as_text())
            } @else {
                (draft.form(html! {
                    @match &self.known {
                        Some((code, revision)) => {
                            (draft.hidden("code", code)) (draft.hidden("form.revision", revision))
                            p { "What was taken in by the mapping before stays as it was read." }
                        }
                        None => { (draft.line("code", "Code", "By which it is called, such as bms; letters, digits, - and _.", "")) }
                    }
                    (draft.line("title", "What it is", "", &self.title))
                    (self.reading(&draft))
                    h2 #columns { "Columns" }
                    (draft.hidden("columns:list", ""))
                    @for (place, column) in self.columns.iter().enumerate() { (self.column(&draft, place, column)) }
                    (draft.send(if self.known.is_some() { "Map it so from now on" } else { "Describe this recorder" }))
                }))
            }
        }
    }

    fn seen_rows(&self) -> Markup {
        html! {
            @if !self.first_rows.is_empty() {
                section {
                    h2 #rows { "Its first rows" }
                    div.wide tabindex="0" role="region" aria-label="First rows of the file" {
                        table.rows {
                            thead { tr { @for column in &self.columns { th scope="col" { (column.name) } } } }
                            tbody { @for row in &self.first_rows { tr { @for cell in row { td { (cell) } } } } }
                        }
                    }
                }
            }
        }
    }

    fn as_text(&self) -> Markup {
        html! {
            ul { @for it in self.columns.iter().filter(|it| !it.channel.is_empty()) {
                li { code { (it.name) } " is " (it.channel) " in " (it.unit)
                    @if let Some(scale) = it.scale { @if scale != 1.0 { ", one stands for " (scale) } }
                    @if it.inverted { ", with the opposite sign" } }
            } }
        }
    }

    fn reading(&self, draft: &Draft<'_>) -> Markup {
        let Some(rows) = &self.rows else {
            return html! { (draft.hidden("file:chosen", &self.file_json)) };
        };
        let words = |pairs: &[(&str, &str)]| -> Vec<(String, String)> {
            pairs.iter().map(|(word, told)| ((*word).to_owned(), (*told).to_owned())).collect()
        };
        let delimiters = words(&[
            ("", "as the file shows it"),
            ("\";\"", "semicolon ;"),
            ("\",\"", "comma ,"),
            ("\"\\t\"", "tab"),
            ("\"|\"", "bar |"),
            ("\" \"", "space"),
        ]);
        let delimiter = rows.delimiter.and_then(|it| serde_json::to_string(&it).ok());
        let decimals = words(&[(".", "point, 3.712"), (",", "comma, 3,712")]);
        let decimal = rows.decimal.as_char().to_string();
        let units = words(&[("false", "no"), ("true", "yes")]);
        let forms: Vec<_> = TimeForm::ALL.iter().map(|form| (word(*form), told(*form))).collect();
        html! {
            h2 #reading { "How a row is read" }
            (draft.hidden("file.format", "csv"))
            (draft.choice("file.delimiter:chosen?", "What parts two cells", "", delimiter.as_deref().unwrap_or_default(), &delimiters))
            (draft.choice("file.decimal", "Decimal mark", "", &decimal, &decimals))
            (draft.line("file.header_line:count", "Line on which the names of the columns stand", "From 1.", &rows.header_line.to_string()))
            (draft.choice("file.unit_row:chosen", "Does a row of units follow?", "", if rows.unit_row { "true" } else { "false" }, &units))
            (draft.line("file.time.column", "Column with the moment of a row", "", &rows.time_column))
            (draft.choice("file.time.form", "How the moment is written", "", &word(rows.time_form), &forms))
        }
    }

    fn column(&self, draft: &Draft<'_>, place: usize, column: &Column) -> Markup {
        let of = |field: &str| format!("columns[{place}].{field}");
        let mut channels = vec![(String::new(), "not mapped".to_owned())];
        let likely = |code: &str| column.may_be.iter().any(|(known, _)| known == code);
        let (first, rest): (Vec<_>, Vec<_>) =
            self.channels.iter().cloned().partition(|(code, _)| likely(code));
        channels.extend(first.into_iter().map(|(code, told)| (code, format!("likely: {told}"))));
        channels.extend(rest);
        let units: Vec<_> =
            Unit::ALL.iter().map(|unit| (unit.as_str().to_owned(), unit.to_string())).collect();
        let unit = if column.unit.is_empty() { Unit::One.as_str() } else { &column.unit };
        html! {
            fieldset.mapped {
                legend { code { (column.name) } }
                (draft.hidden(&of("column"), &column.name))
                (draft.hidden(&format!("form.about[{}]", column.name), &column.about))
                @if !column.about.is_empty() { p.hint { (column.about) } }
                (draft.choice(&of("channel?"), "Channel", "", &column.channel, &channels))
                @if !column.may_be.is_empty() {
                    details { summary { "Why it may be which" } ul { @for (code, why) in &column.may_be { li { (code) ": " (why) } } } }
                }
                (draft.choice(&of("unit"), "Unit of the file's figures", "", unit, &units))
                (draft.figure_with(&of("scale:number?"), "What one in the file stands for", "", "of that unit", column.scale.or(Some(1.0))))
                (draft.tick(&of("inverted:chosen"), "true", html! { "The file has the opposite sign" }, column.inverted))
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use crate::pages::tests::long;
        let page = |many: usize| Self {
            place: "/programmes/tug".to_owned(),
            token: "0".repeat(64),
            may_describe: true,
            file: Some(long("bms.csv", many)),
            known: None,
            title: String::new(),
            gaps: vec![long("code: give it one.", many); many],
            first_rows: vec![vec![long("371,2", many); many]; many.min(5)],
            rows: Some(Rows {
                delimiter: Some(';'),
                decimal: DecimalMark::Comma,
                header_line: 1,
                unit_row: true,
                time_column: long("Zeit", many),
                time_form: TimeForm::Iso8601,
            }),
            file_json: String::new(),
            columns: (0..many)
                .map(|place| Column {
                    name: long(&format!("U_{place}"), many),
                    about: long("figures from 1 to 2", many),
                    may_be: vec![("pack_v".to_owned(), long("The name speaks for it.", many))],
                    ..Column::default()
                })
                .collect(),
            channels: (0..many)
                .map(|place| (format!("c_{place}"), long("Voltage of the pack", many)))
                .collect(),
            trouble: None,
        };
        vec![
            ("ordinary", page(3).body()),
            ("empty", page(0).body()),
            ("worst case", page(60).body()),
        ]
    }
}
