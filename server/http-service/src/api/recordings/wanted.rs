//! Which channels of a recording are wanted, and from when to when.

use actix_web::{HttpRequest, web};
use chrono::{DateTime, Utc};
use recordings::Micros;
use recordings::columns::{CannotRead, StoredChannel};
use serde::de::DeserializeOwned;

use crate::columns::Opened;
use crate::problem::{BAD_QUERY, Problem};

/// A query string whose `channel` may come several times, or name several parted by commas.
#[derive(Debug)]
pub(super) struct Wanted<T> {
    /// The channels in the order in which they were named, none twice.
    pub channels: Vec<String>,
    /// What else was asked.
    pub rest: T,
}

impl<T: DeserializeOwned> Wanted<T> {
    /// Reads the query string of a request.
    pub fn of(request: &HttpRequest) -> Result<Self, Problem> {
        let not_understood = |why: &dyn std::fmt::Display| {
            Problem::new(BAD_QUERY, format!("The query string cannot be understood: {why}."))
        };
        let text = request.query_string();
        let pairs = web::Query::<Vec<(String, String)>>::from_query(text)
            .map_err(|error| not_understood(&error))?
            .into_inner();
        let mut channels: Vec<String> = Vec::new();
        for (_, given) in pairs.iter().filter(|(name, _)| name == "channel") {
            for code in given.split(',').map(str::trim).filter(|code| !code.is_empty()) {
                if !channels.iter().any(|known| known == code) {
                    channels.push(code.to_owned());
                }
            }
        }
        // The values are still as they were sent, so that nothing has to be written as a query string anew.
        let is_channel = |pair: &&str| pair.split('=').next() == Some("channel");
        let rest: Vec<&str> = text.split('&').filter(|pair| !is_channel(pair)).collect();
        let rest = web::Query::<T>::from_query(&rest.join("&")).map_err(|error| match error {
            actix_web::error::QueryPayloadError::Deserialize(error) => not_understood(&error),
            other => not_understood(&other),
        })?;
        Ok(Self { channels, rest: rest.into_inner() })
    }
}

/// A part of the time of a recording, both ends included.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Part {
    /// Its beginning; absent: that of the recording.
    pub from: Option<DateTime<Utc>>,
    /// Its end; absent: that of the recording.
    pub to: Option<DateTime<Utc>>,
}

impl Part {
    /// From one moment to another, as they were asked for.
    pub fn asked(from: Option<&str>, to: Option<&str>) -> Result<Self, Problem> {
        let part = Self { from: moment("from", from)?, to: moment("to", to)? };
        if let (Some(from), Some(to)) = (part.from, part.to)
            && from > to
        {
            return Err(Problem::of_field(
                BAD_QUERY,
                "from",
                format!("from is later than to: {from} is after {to}. Exchange them."),
            ));
        }
        Ok(part)
    }

    /// The moments in a recording; absent where it has no row.
    pub fn of(self, columns: &Opened) -> Option<(Micros, Micros)> {
        let (first, last) = columns.span()?;
        Some((self.from.map_or(first, Micros::from), self.to.map_or(last, Micros::from)))
    }
}

fn moment(field: &str, given: Option<&str>) -> Result<Option<DateTime<Utc>>, Problem> {
    let Some(text) = given else { return Ok(None) };
    match DateTime::parse_from_rfc3339(text) {
        Ok(moment) => Ok(Some(moment.with_timezone(&Utc))),
        Err(_) => Err(Problem::of_field(
            BAD_QUERY,
            field,
            format!(
                "{field} is a moment by the recorder's clock, such as 2026-05-02T09:04:40.5Z; a plus sign in it is written %2B."
            ),
        )),
    }
}

/// The channels of a recording that were named, all where none was.
pub(super) fn channels(
    columns: &Opened,
    named: Vec<String>,
) -> Result<Vec<StoredChannel>, Problem> {
    let all = columns.channels();
    if named.is_empty() {
        return Ok(all.to_vec());
    }
    let found = |code: &String| all.iter().find(|channel| channel.code == *code).cloned();
    let missing: Vec<String> = named.iter().filter(|code| found(code).is_none()).cloned().collect();
    if missing.is_empty() {
        return Ok(named.iter().filter_map(found).collect());
    }
    let found = all.iter().map(|channel| channel.code.clone()).collect();
    Err(CannotRead::NoSuchChannels { missing, found }.into())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Rest {
        from: Option<String>,
    }

    fn wanted(query: &str) -> Result<Wanted<Rest>, Problem> {
        let uri = format!("/plot?{query}");
        Wanted::of(&actix_web::test::TestRequest::with_uri(&uri).to_http_request())
    }

    #[test]
    fn channels_are_named_one_by_one_or_with_commas_and_none_twice() {
        let seen = wanted("channel=a&from=2026%2B&channel=b,c%2Ca&channel=").unwrap();
        assert_eq!(seen.channels, ["a", "b", "c"]);
        assert_eq!(seen.rest.from.as_deref(), Some("2026+"));
        assert!(wanted("").unwrap().channels.is_empty());
        assert_eq!(wanted("from=1&from=2").unwrap_err().code(), "bad-query");
        assert_eq!(wanted("colour=red").unwrap_err().code(), "bad-query");
    }

    #[test]
    fn a_part_begins_before_it_ends() {
        let part = Part::asked(Some("2026-05-02T08:00:00Z"), Some("2026-05-02T10:00:00+02:00"));
        let part = part.unwrap();
        assert_eq!((part.from, part.to), (eight(), eight()));
        for (from, to) in [("2026-05-02T08:00:01Z", "2026-05-02T08:00:00Z"), ("noon", "later")] {
            assert_eq!(Part::asked(Some(from), Some(to)).unwrap_err().code(), "bad-query");
        }
    }

    fn eight() -> Option<DateTime<Utc>> {
        Some("2026-05-02T08:00:00Z".parse().unwrap())
    }
}
