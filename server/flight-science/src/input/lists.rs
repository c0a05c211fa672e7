//! Lists: of objects, of numbers, and of rows of numbers.

use std::ops::RangeBounds;

use serde_json::Value;

use super::words::told;
use super::{Reader, plain_number};
use crate::catalogue::{FaultCode, FieldFault};

impl<'a> Reader<'a> {
    /// A list of objects with at least `fewest` items; `read` reads the fields of each.
    pub fn array<T>(
        &mut self,
        name: &'static str,
        fewest: usize,
        mut read: impl FnMut(&mut Reader<'a>) -> Option<T>,
    ) -> Option<Vec<T>> {
        let items = self.items(name, fewest)?;
        let path = self.path_of(name);
        let mut whole = Some(Vec::with_capacity(items.len()));
        for (index, item) in items.iter().enumerate() {
            match self.inner(format!("{path}[{index}]"), item, &mut read) {
                Some(item) => {
                    if let Some(read) = whole.as_mut() {
                        read.push(item);
                    }
                }
                None => whole = None,
            }
        }
        whole
    }

    /// As [`Reader::array`], for a list that may be absent.
    pub fn optional_array<T>(
        &mut self,
        name: &'static str,
        fewest: usize,
        read: impl FnMut(&mut Reader<'a>) -> Option<T>,
    ) -> Option<Option<Vec<T>>> {
        if self.has(name) {
            self.array(name, fewest, read).map(Some)
        } else {
            self.known.push(name);
            Some(None)
        }
    }

    /// A list of numbers with at least `fewest` items, each inside `range`.
    pub fn numbers(
        &mut self,
        name: &'static str,
        fewest: usize,
        range: impl RangeBounds<f64>,
    ) -> Option<Vec<f64>> {
        let items = self.items(name, fewest)?;
        let path = self.path_of(name);
        let read: Vec<Option<f64>> = items
            .iter()
            .enumerate()
            .map(|(index, item)| self.number_at(format!("{path}[{index}]"), item, &range))
            .collect();
        read.into_iter().collect()
    }

    /// A list of rows of `N` numbers, such as `[[t_s, value], …]`, with a range for each column.
    pub fn rows<const N: usize, R: RangeBounds<f64>>(
        &mut self,
        name: &'static str,
        fewest: usize,
        ranges: [R; N],
    ) -> Option<Vec<[f64; N]>> {
        let items = self.items(name, fewest)?;
        let path = self.path_of(name);
        let mut whole = Some(Vec::with_capacity(items.len()));
        for (index, item) in items.iter().enumerate() {
            match self.row_at(&path, index, item, &ranges) {
                Some(row) => {
                    if let Some(rows) = whole.as_mut() {
                        rows.push(row);
                    }
                }
                None => whole = None,
            }
        }
        whole
    }

    /// As [`Reader::rows`], for a list that may be absent.
    pub fn optional_rows<const N: usize, R: RangeBounds<f64>>(
        &mut self,
        name: &'static str,
        fewest: usize,
        ranges: [R; N],
    ) -> Option<Option<Vec<[f64; N]>>> {
        if self.has(name) {
            self.rows(name, fewest, ranges).map(Some)
        } else {
            self.known.push(name);
            Some(None)
        }
    }

    fn row_at<const N: usize, R: RangeBounds<f64>>(
        &mut self,
        path: &str,
        index: usize,
        item: &Value,
        ranges: &[R; N],
    ) -> Option<[f64; N]> {
        let cells = item.as_array().filter(|cells| cells.len() == N);
        let Some(cells) = cells else {
            self.faults.push(FieldFault::new(
                format!("{path}[{index}]"),
                FaultCode::WrongType,
                format!("{path}[{index}] is {}; a list of {N} numbers is wanted.", told(item)),
            ));
            return None;
        };
        let mut row = [0.0; N];
        let mut complete = true;
        for (column, (cell, range)) in cells.iter().zip(ranges).enumerate() {
            match plain_number(cell, range) {
                Some(number) => row[column] = number,
                None => {
                    self.number_at(format!("{path}[{index}][{column}]"), cell, range);
                    complete = false;
                }
            }
        }
        complete.then_some(row)
    }

    fn items(&mut self, name: &'static str, fewest: usize) -> Option<&'a Vec<Value>> {
        let value = self.take_required(name, &format!("a list of at least {fewest}"))?;
        let Value::Array(items) = value else {
            self.wrong_type(name, value, "a list");
            return None;
        };
        if items.len() < fewest {
            let (path, count) = (self.path_of(name), items.len());
            self.fault(
                name,
                FaultCode::TooFew,
                format!("{path} has {count} items; at least {fewest} are wanted."),
            );
            // Faults inside a short list are still worth telling.
        }
        Some(items)
    }
}
