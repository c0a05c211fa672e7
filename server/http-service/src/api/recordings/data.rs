//! Channels of a recording as a file, for whoever goes on with tools of their own.

use std::io::{BufWriter, Write as _};

use actix_web::http::header::{ACCEPT, CONTENT_DISPOSITION, CONTENT_TYPE, ETAG, HeaderMap};
use actix_web::{HttpRequest, HttpResponse};
use recordings::columns::CsvOut;
use serde::Deserialize;
use store::ObjectError;

use super::original::{attachment, streamed};
use super::view::known;
use super::wanted::{Part, Wanted, channels};
use crate::access::{Permitted, Read};
use crate::desk::Answer;
use crate::entity_tag;
use crate::given::{At, Sha256};
use crate::office::Office;
use crate::problem::{NOT_ACCEPTABLE, Problem};

/// How the file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum DataFormat {
    /// Comma-separated values by RFC 4180.
    Csv,
    /// Apache Parquet.
    Parquet,
}

impl DataFormat {
    const fn media_type(self) -> &'static str {
        match self {
            DataFormat::Csv => "text/csv",
            DataFormat::Parquet => "application/vnd.apache.parquet",
        }
    }

    const fn content_type(self) -> &'static str {
        match self {
            DataFormat::Csv => "text/csv; charset=utf-8",
            DataFormat::Parquet => "application/vnd.apache.parquet",
        }
    }

    const fn ending(self) -> &'static str {
        match self {
            DataFormat::Csv => "csv",
            DataFormat::Parquet => "parquet",
        }
    }
}

/// Which part of a recording, and as what.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DataWanted {
    /// A channel; may be given several times, or as several codes parted by commas. Absent: all.
    #[serde(default)]
    #[param(required = false)]
    #[expect(dead_code, reason = "it is read apart, since it may come several times")]
    pub channel: Vec<String>,
    /// From this moment on, by the recorder's clock (RFC 3339); absent: from the first row on.
    #[param(example = "2026-05-02T09:05:00Z")]
    pub from: Option<String>,
    /// Up to and including this moment, by the recorder's clock (RFC 3339); absent: to the last row.
    #[param(example = "2026-05-02T09:06:00Z")]
    pub to: Option<String>,
    /// As what; absent: as `Accept` says, and CSV where that leaves it open.
    #[param(inline)]
    pub format: Option<DataFormat>,
    /// Whether a row of units follows the header of CSV. Parquet always has the units in its schema.
    pub unit_row: Option<bool>,
}

/// Channels of a recording as CSV or Parquet.
///
/// The first column is `time`, by the recorder's clock in UTC; then comes one column a channel, in its unit. A value that is
/// missing is empty in CSV and null in Parquet. Every digit of a value is there: whoever reads it back has the same figure.
#[utoipa::path(
    get, path = "",
    params(DataWanted),
    responses((
        status = 200,
        description = "The file.",
        content(
            (String = "text/csv", example = json!("time,motor_temp\n2026-05-02T09:04:40.000000Z,41.5\n")),
            (String = "application/vnd.apache.parquet"),
        ),
    )),
)]
pub(crate) async fn data(
    person: Permitted<Read>,
    recording: At<Sha256>,
    request: HttpRequest,
    office: Office,
) -> Answer {
    let Wanted { channels: named, rest } = Wanted::<DataWanted>::of(&request)?;
    let part = Part::asked(rest.from.as_deref(), rest.to.as_deref())?;
    let format = rest.format.map_or_else(|| accepted(request.headers()), Ok)?;
    let how = CsvOut { unit_row: rest.unit_row.unwrap_or(false) };
    let (columns, name) = office
        .look(&person, None, |view| {
            let take = known(view.state, &recording.0.0)?.1;
            Ok((take.columns.clone(), take.name.clone()))
        })
        .await?;
    let objects = office.store.objects().clone();
    // It is written to disk first: whoever reads slowly holds no memory, and a file that cannot be read becomes a problem
    // and not half an answer.
    let (file, digest) = office
        .with_columns(&columns, move |columns| {
            let channels = channels(&columns, named)?;
            let codes: Vec<&str> = channels.iter().map(|channel| channel.code.as_str()).collect();
            let (from, to) = part.of(&columns).unwrap_or_default();
            let into = BufWriter::with_capacity(1 << 20, objects.begin()?);
            let into = match format {
                DataFormat::Csv => {
                    let mut into = into;
                    columns.csv_out(&codes, from, to, how, &mut into)?;
                    into
                }
                DataFormat::Parquet => columns.write_part(&codes, from, to, into)?,
            };
            let mut written =
                into.into_inner().map_err(|error| ObjectError::from(error.into_error()))?;
            written.flush().map_err(ObjectError::from)?;
            // The name goes with `written`; what is open stays until it is sent.
            let file = written.opened().map_err(ObjectError::from)?;
            Ok((file, written.digest()))
        })
        .await?;
    let tag = entity_tag::of_digest(&digest);
    if entity_tag::is_known(request.headers(), &tag) {
        return Ok(HttpResponse::NotModified()
            .insert_header((ETAG, entity_tag::to_header(&tag)))
            .finish());
    }
    let stem = name.rsplit_once('.').map_or(name.as_str(), |(stem, _)| stem);
    Ok(HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, format.content_type()))
        .insert_header((
            CONTENT_DISPOSITION,
            attachment(&format!("{stem}_channels.{}", format.ending())),
        ))
        .insert_header((ETAG, entity_tag::to_header(&tag)))
        .body(streamed(file, &digest)))
}

/// What a reader wants by its `Accept`; CSV where both are as good.
fn accepted(headers: &HeaderMap) -> Result<DataFormat, Problem> {
    let mut best: Option<(f32, DataFormat)> = None;
    let mut asked = false;
    for value in headers.get_all(ACCEPT) {
        for range in value.to_str().unwrap_or_default().split(',') {
            let mut parts = range.split(';').map(str::trim);
            let kind = parts.next().unwrap_or_default().to_ascii_lowercase();
            let weight = parts.find_map(|part| part.strip_prefix("q=")?.trim().parse().ok());
            let weight: f32 = weight.unwrap_or(1.0);
            asked |= !kind.is_empty();
            for format in [DataFormat::Csv, DataFormat::Parquet] {
                let (main, _) = format.media_type().split_once('/').unwrap_or_default();
                let fits = kind == format.media_type()
                    || kind == "*/*"
                    || kind.strip_suffix("/*").is_some_and(|of| of == main);
                if fits && weight > 0.0 && best.is_none_or(|(before, _)| weight > before) {
                    best = Some((weight, format));
                }
            }
        }
    }
    match best {
        Some((_, format)) => Ok(format),
        None if !asked => Ok(DataFormat::Csv),
        None => Err(Problem::new(
            NOT_ACCEPTABLE,
            "Data of recordings are sent as text/csv or application/vnd.apache.parquet. Accept one of them, or ask for format=csv or format=parquet.",
        )),
    }
}

#[cfg(test)]
mod tests {
    use actix_web::http::header::HeaderValue;

    use super::*;

    fn of(accept: &'static str) -> Option<DataFormat> {
        let mut headers = HeaderMap::new();
        headers.insert(ACCEPT, HeaderValue::from_static(accept));
        accepted(&headers).ok()
    }

    #[test]
    fn what_is_accepted_is_sent_and_csv_where_both_are() {
        assert_eq!(accepted(&HeaderMap::new()).ok(), Some(DataFormat::Csv));
        assert_eq!(of("*/*"), Some(DataFormat::Csv));
        assert_eq!(of("text/*"), Some(DataFormat::Csv));
        assert_eq!(of("application/vnd.apache.parquet, text/csv;q=0.5"), Some(DataFormat::Parquet));
        assert_eq!(
            of("application/vnd.apache.parquet;q=0.1, text/csv;q=0.5"),
            Some(DataFormat::Csv)
        );
        assert_eq!(of("application/json"), None);
        assert_eq!(of("text/csv;q=0"), None);
    }
}
