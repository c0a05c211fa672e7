//! Long lists, a page at a time. A page begins after a key, so that what is added meanwhile neither repeats nor hides a row.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::ops::Bound;

use actix_web::HttpRequest;
use serde::{Deserialize, Serialize};

use crate::problem::{BAD_QUERY, Problem};

/// Rows of a page unless the reader asks for another number.
const USUAL: u16 = 100;
/// Rows of a page at most.
const MOST: u16 = 500;

/// A page of a list.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub struct Page<T> {
    /// The rows.
    pub items: Vec<T>,
    /// Where the next page is; absent on the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(format = "uri-reference")]
    pub next: Option<String>,
}

/// Which page of a list, and of which moment.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Paging {
    /// The key of the last row of the page before; absent: the first page.
    #[param(max_length = 64)]
    pub after: Option<String>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 500, default = 100)]
    pub limit: Option<u16>,
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
}

/// Of which moment.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct OfMoment {
    /// As it stood after the record of this number, or at this time (RFC 3339).
    #[param(example = "2026-05-02T08:00:00Z")]
    pub as_of: Option<String>,
}

/// How many rows.
pub(crate) fn rows(limit: Option<u16>) -> Result<usize, Problem> {
    let limit = limit.unwrap_or(USUAL);
    if (1..=MOST).contains(&limit) {
        return Ok(limit.into());
    }
    Err(Problem::of_field(BAD_QUERY, "limit", format!("limit is from 1 to {MOST}.")))
}

/// Reads the key that a page begins after.
pub(crate) fn after<K: std::str::FromStr>(after: Option<&str>) -> Result<Option<K>, Problem> {
    after
        .map(|text| {
            text.parse().map_err(|_| {
                Problem::of_field(
                    BAD_QUERY,
                    "after",
                    "after is the key of the last row of the page before, as it stands in `next`.",
                )
            })
        })
        .transpose()
}

/// What a map has after a key, in order.
pub(crate) fn beyond<'m, K: Ord, V>(
    map: &'m BTreeMap<K, V>,
    after: Option<&K>,
) -> impl Iterator<Item = (&'m K, &'m V)> {
    map.range((after.map_or(Bound::Unbounded, Bound::Excluded), Bound::Unbounded))
}

impl<T> Page<T> {
    /// Takes a page of rows that come in order after the key asked for.
    pub fn of<K: Display>(
        rows: impl Iterator<Item = (K, T)>,
        limit: Option<u16>,
        request: &HttpRequest,
    ) -> Result<Self, Problem> {
        let most = self::rows(limit)?;
        let mut taken: Vec<(K, T)> = rows.take(most + 1).collect();
        let more = taken.len() > most;
        taken.truncate(most);
        let last = taken.last().filter(|_| more).map(|(key, _)| key.to_string());
        Ok(Self {
            items: taken.into_iter().map(|(_, row)| row).collect(),
            next: last.map(|key| next(request, &key)),
        })
    }
}

impl<T> Page<T> {
    /// Makes something else of each row.
    pub fn each<U>(self, into: impl FnMut(T) -> Result<U, Problem>) -> Result<Page<U>, Problem> {
        let items = self.items.into_iter().map(into).collect::<Result<_, _>>()?;
        Ok(Page { items, next: self.next })
    }
}

/// The same request, after another key.
fn next(request: &HttpRequest, key: &str) -> String {
    let kept = request
        .query_string()
        .split('&')
        .filter(|pair| !pair.is_empty() && *pair != "after" && !pair.starts_with("after="));
    let mut link = format!("{}?after={key}", request.path());
    for pair in kept {
        link.push('&');
        link.push_str(pair);
    }
    link
}
