//! Help with the mapping of a recorder's files: what a file offers, and which channel each of its columns may be.

use std::time::Duration;

use actix_web::HttpRequest;
use actix_web::http::StatusCode;
use actix_web::web::{Bytes, Payload};
use evaluation::mapping::{self, Known, Proposal, Sheet};
use futures_util::{Stream, StreamExt as _};
use programme::codes::RecorderCode;
use programme::nouns::{Channel, DecimalMark, Recorder, RecorderFile};
use recordings::Unreadable;
use recordings::format::candump::CandumpPlan;
use recordings::format::csv::{self, Look};
use recordings::format::{Field, candump, gpx, igc, nmea};
use serde::Deserialize;
use tokio::time::timeout;

use crate::access::{Permitted, Read};
use crate::desk::{Answer, answer};
use crate::given::{Query, check_type};
use crate::idempotency::Asked;
use crate::office::Office;
use crate::problem::{
    BAD_QUERY, BAD_REQUEST, BODY_TOO_LARGE, INVALID, Problem, REQUEST_TIMEOUT, capitalised,
};

/// Bytes of a file that are looked at.
const LOOKED_AT: usize = 1024 * 1024;

/// Bytes that may be sent; what is beyond those that are looked at is thrown away.
const LARGEST: usize = 8 * 1024 * 1024;

/// What beginnings of files are sent as.
const KNOWN: &[&str] = &[
    "application/octet-stream",
    "text/csv",
    "text/plain",
    "application/gpx+xml",
    "application/xml",
    "text/xml",
];

/// The format of an unknown file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FileFormat {
    /// Rows of text with a header.
    Csv,
    /// Frames of a CAN bus as text; the recorder has the database.
    Candump,
    /// The database of a CAN bus, by which a recorder of candump is described first.
    Dbc,
    /// The flight recorder format of the International Gliding Commission.
    Igc,
    /// Sentences of NMEA 0183.
    Nmea,
    /// GPS exchange format.
    Gpx,
}

/// What is known of the file already. What is not given is looked for.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct FileKnown {
    /// The format; absent: that of the recorder, or csv where none is given.
    #[param(inline)]
    pub format: Option<FileFormat>,
    /// A recorder by whose eyes the file is looked at: its format, and its database of CAN frames.
    #[param(value_type = Option<String>)]
    pub recorder: Option<RecorderCode>,
    /// What parts the cells of csv; `tab` for a tab.
    #[param(max_length = 3)]
    pub delimiter: Option<String>,
    /// The decimal sign of csv, a point or a comma.
    #[param(inline)]
    pub decimal: Option<DecimalMark>,
    /// The line on which the names of the columns of csv stand, from 1.
    #[param(minimum = 1, maximum = 1000)]
    pub header_line: Option<u32>,
    /// Whether a row of units follows the header of csv.
    pub unit_row: Option<bool>,
}

/// Look at the beginning of an unknown file: what it has, and which channel each column may be.
///
/// Send the first part of the file as the body; one mebibyte of it is looked at, and a last line that was cut does no harm.
/// Nothing is recorded, and nothing of the answer is applied: it is an offer with its reasons. `recorder` is a draft in which
/// a column stands only where name and unit speak for one channel; whoever has made sure of it and filled what `gaps` names
/// sends it as PUT /recorders/{recorder}.
#[utoipa::path(
    post, path = "",
    params(FileKnown),
    request_body(
        content = String,
        content_type = "text/csv",
        example = json!("Zeit;U_pack;T_cell_1\n;V;°C\n2026-05-02T09:04:40,000Z;371,2;21,5\n2026-05-02T09:04:40,100Z;371,1;21,5\n"),
    ),
    responses((status = 200, description = "What was found.", body = Proposal)),
)]
pub(crate) async fn look(
    person: Permitted<Read>,
    known: Query<FileKnown>,
    body: Payload,
    request: HttpRequest,
    office: Office,
) -> Answer {
    check_type(request.headers(), &request, KNOWN)?;
    let begins = beginning(body, office.settings.sender_silent_at_most).await?;
    let asked = Asked::of(&request, &begins)?;
    let replayed = office.was_computed(&person.person, &asked).await?;
    let found = proposal(&office, &person, begins, known.0).await?;
    office.computed(&person.person, asked, replayed, answer(StatusCode::OK, &found)?).await
}

/// What the beginning of a file offers.
pub(crate) async fn proposal<P>(
    office: &Office,
    person: &Permitted<P>,
    begins: Vec<u8>,
    known: FileKnown,
) -> Result<Proposal, Problem> {
    let (recorder, channels) = office
        .look(person, None, |view| {
            let recorder = match &known.recorder {
                None => None,
                Some(code) => Some(view.state.recorders.get(code).cloned().ok_or_else(|| {
                    Problem::of_field(
                        BAD_QUERY,
                        "recorder",
                        format!(
                            "There is no recorder {code}. Leave it out, or name one that is there."
                        ),
                    )
                })?),
            };
            Ok((recorder, view.state.channels.values().cloned().collect::<Vec<_>>()))
        })
        .await?;
    office.aside(move || propose(&begins, &known, recorder.as_ref(), &channels)).await
}

/// The first bytes of a body; what comes behind them is read and thrown away.
pub(crate) async fn beginning<E: std::error::Error + Send + Sync + 'static>(
    mut body: impl Stream<Item = Result<Bytes, E>> + Unpin,
    silent_at_most: Duration,
) -> Result<Vec<u8>, Problem> {
    let (mut begins, mut received) = (Vec::new(), 0_usize);
    loop {
        let part = timeout(silent_at_most, body.next()).await.map_err(|_| {
            Problem::new(REQUEST_TIMEOUT, "The file stopped coming. Send its beginning again.")
        })?;
        let Some(part) = part else {
            return if received > LARGEST { Err(too_large()) } else { Ok(begins) };
        };
        let part = part.map_err(|error| {
            Problem::new(BAD_REQUEST, "The body did not arrive whole. Send the request again.")
                .because(error)
        })?;
        received = received.saturating_add(part.len());
        // Some clients see no answer before all of their body was read.
        if received > 8 * LARGEST {
            return Err(too_large());
        }
        let room = LOOKED_AT - begins.len();
        begins.extend_from_slice(&part[..part.len().min(room)]);
    }
}

fn too_large() -> Problem {
    Problem::new(
        BODY_TOO_LARGE,
        format!(
            "The body is larger than {LARGEST} bytes. The beginning is enough: send the first {LOOKED_AT} bytes of the file."
        ),
    )
}

fn propose(
    begins: &[u8],
    known: &FileKnown,
    recorder: Option<&Recorder>,
    channels: &[Channel],
) -> Result<Proposal, Problem> {
    let format = known.format.unwrap_or_else(|| recorder.map_or(FileFormat::Csv, format_of));
    let of_fields = |fields: Result<Vec<Field>, Unreadable>, file: RecorderFile| {
        let fields = fields.map_err(|error| unreadable(&error))?;
        Ok::<_, Problem>(mapping::of_fields(&fields, file, channels.iter()))
    };
    let whole = whole_lines(begins);
    let mut proposal = match format {
        FileFormat::Csv => of_rows(begins, known, recorder, channels)?,
        FileFormat::Candump => {
            let Some(RecorderFile::Candump { dbc }) = recorder.map(|recorder| &recorder.file)
            else {
                return Err(Problem::of_field(
                    BAD_QUERY,
                    "recorder",
                    "What CAN frames mean stands in a database: look at that first with format dbc, describe a recorder by it, and name the recorder here.",
                ));
            };
            let plan = CandumpPlan { dbc: dbc.clone() };
            of_fields(candump::fields(whole, &plan), RecorderFile::Candump { dbc: dbc.clone() })?
        }
        FileFormat::Dbc => {
            // Of a database every line is needed: one that was cut knows less than the recorder sends.
            if begins.len() >= LOOKED_AT {
                return Err(Problem::new(
                    BODY_TOO_LARGE,
                    format!(
                        "A database may have less than {LOOKED_AT} bytes. Leave out of it the messages that the recorder does not write."
                    ),
                ));
            }
            let plan = CandumpPlan { dbc: candump::dbc_text(begins) };
            of_fields(candump::signals(&plan), RecorderFile::Candump { dbc: plan.dbc })?
        }
        FileFormat::Igc => of_fields(igc::fields(whole), RecorderFile::Igc {})?,
        FileFormat::Nmea => of_fields(nmea::fields(whole), RecorderFile::Nmea {})?,
        FileFormat::Gpx => of_fields(gpx::fields(begins), RecorderFile::Gpx {})?,
    };
    if proposal.columns.is_empty() {
        return Err(Problem::new(
            INVALID,
            "Nothing was found that could be a reading. Make sure of the format, and send the beginning of a file that has readings there.",
        ));
    }
    if let Some(recorder) = recorder {
        let has = |name: &str| proposal.columns.iter().any(|seen| seen.column == name.trim());
        let missing: Vec<&str> = recorder
            .columns
            .iter()
            .map(|mapped| mapped.column.as_str())
            .filter(|name| !has(name))
            .collect();
        if !missing.is_empty() {
            proposal.gaps.push(format!(
                "columns: {} maps {}, which this file does not have.",
                recorder.code,
                missing.join(", ")
            ));
        }
    }
    Ok(proposal)
}

fn format_of(recorder: &Recorder) -> FileFormat {
    match recorder.file {
        RecorderFile::Csv { .. } => FileFormat::Csv,
        RecorderFile::Candump { .. } => FileFormat::Candump,
        RecorderFile::Igc {} => FileFormat::Igc,
        RecorderFile::Nmea {} => FileFormat::Nmea,
        RecorderFile::Gpx {} => FileFormat::Gpx,
    }
}

fn of_rows(
    begins: &[u8],
    asked: &FileKnown,
    recorder: Option<&Recorder>,
    channels: &[Channel],
) -> Result<Proposal, Problem> {
    let mut known = Known {
        delimiter: asked.delimiter.as_deref().map(delimiter).transpose()?,
        decimal: asked.decimal,
        header_line: asked.header_line,
        unit_row: asked.unit_row,
    };
    if let Some(RecorderFile::Csv { delimiter, decimal, header_line, unit_row, .. }) =
        recorder.map(|recorder| &recorder.file)
    {
        known.delimiter = known.delimiter.or(*delimiter);
        known.decimal = known.decimal.or(Some(*decimal));
        known.header_line = known.header_line.or(Some(header_line.unwrap_or(1)));
        known.unit_row = known.unit_row.or(Some(*unit_row));
    }
    let nothing = || {
        Problem::new(
            INVALID,
            "No line was found that has two cells. Say what parts the cells with delimiter, and on which line their names stand with header_line.",
        )
    };
    // What a file is that is no text, the reader of such files says best.
    let no_text = |byte: &u8| byte.is_ascii_control() && !b"\t\r\n".contains(byte);
    if begins.iter().take(512).any(no_text) {
        csv::headers(begins, &Look::default()).map_err(|error| unreadable(&error))?;
    }
    let sheet = Sheet::of(begins, known).ok_or_else(nothing)?;
    Ok(mapping::of_rows(&sheet, channels.iter()))
}

fn unreadable(error: &Unreadable) -> Problem {
    Problem::new(INVALID, format!("{}.", capitalised(&error.to_string())))
}

/// What parts cells, as it was given.
fn delimiter(given: &str) -> Result<char, Problem> {
    let mut signs = given.chars();
    match (given, signs.next(), signs.next()) {
        ("tab", ..) => Ok('\t'),
        (_, Some(sign), None) if sign.is_ascii() && !sign.is_ascii_alphanumeric() => Ok(sign),
        _ => Err(Problem::of_field(
            BAD_QUERY,
            "delimiter",
            "delimiter is one sign that stands in no cell, such as ; or , (in an address %3B or %2C), or the word tab.",
        )),
    }
}

/// Up to the last line end: what is behind may have been cut.
fn whole_lines(begins: &[u8]) -> &[u8] {
    let end = begins.iter().rposition(|byte| *byte == b'\n').map_or(begins.len(), |at| at + 1);
    &begins[..end]
}
