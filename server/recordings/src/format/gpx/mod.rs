//! GPX: tracks as XML.
//!
//! The columns of the mapping are `latitude` and `longitude` in degrees, `elevation` in metres, and `speed` in metres per
//! second where a point has an element of that name, among its extensions or beside its elevation. Every track point of
//! every track and segment is a row; way points and routes are passed over.
//!
//! No entity is ever expanded, a document type declaration is refused, and depth and length of what is kept are bounded.
//!
//! # Source
//!
//! GPX 1.1 schema (topografix.com), from memory. Checked against the library gpxpy in `tests/reference`.

mod bounded;
mod point;
#[cfg(test)]
mod tests;

use std::io::Read;

use quick_xml::Reader;
use quick_xml::errors::{Error, SyntaxError};
use quick_xml::events::{BytesStart, Event};

use self::bounded::{Bounded, MOST_BYTES_OF_EVENT};
use self::point::{COLUMNS, Point, Text, Wanted};
use super::field::offered;
use super::rows::Rows;
use super::{Field, PassedOver};
use crate::{ColumnPlan, Rule, Sink, Unreadable};

/// Elements inside elements that are taken at most.
const MOST_DEPTH: usize = 32;
const NOT_THE_ROOT: &str = "its one root is not gpx";

/// Reads the track points of a GPX file; gives how many way points and route points were passed over.
///
/// A point without a moment, or with two, is refused as [`Rule::NotAMoment`]. A file that ends in the middle, as after a
/// loss of power, gives its whole points, and its end is refused as [`Rule::Damaged`].
///
/// # Errors
///
/// [`Unreadable`] where it is not well-formed XML in UTF-8 with `gpx` as its root, has a document type declaration, is
/// deeper than 32 elements or has a tag or text over 256 KiB, the plan names a column that there is not, or no point has
/// a moment.
pub fn read(
    source: impl Read,
    columns: &[ColumnPlan],
    sink: &mut dyn Sink,
) -> Result<PassedOver, Unreadable> {
    let names = COLUMNS.map(|(name, _)| name.to_owned());
    let mut track = Track {
        rows: Rows::of(&names, columns, sink)?,
        depth: 0,
        begun: false,
        point: None,
        collecting: None,
        text: Text::default(),
        passed_over: PassedOver::default(),
    };
    let mut reader = Reader::from_reader(Bounded::of(source));
    let mut event = Vec::new();
    loop {
        event.clear();
        reader.get_mut().begin_event();
        let read = reader.read_event_into(&mut event);
        let (line, overrun) = (reader.get_ref().line, reader.get_ref().overrun);
        let ended = match read {
            Ok(Event::Eof) if reader.buffer_position() == 0 => return Err(Unreadable::NoRows),
            Ok(Event::Eof) if !track.begun => return Err(not_gpx(line, NOT_THE_ROOT)),
            Ok(Event::Eof) => track.depth > 0,
            Ok(event) => {
                track.take(line, &event)?;
                continue;
            }
            Err(Error::Syntax(fault)) if track.begun && fault != SyntaxError::InvalidBangMarkup => {
                true
            }
            Err(_) if overrun => {
                let what = "the number of bytes in one tag or text";
                return Err(Unreadable::TooMuch { line, what, most: MOST_BYTES_OF_EVENT as u64 });
            }
            Err(Error::Io(fault)) => return Err(Unreadable::Cut(fault.kind().into())),
            Err(Error::Encoding(_)) => {
                return Err(not_gpx(line, "it is not in UTF-8; save it again in that encoding"));
            }
            Err(_) => return Err(not_gpx(line, "it is not well-formed XML")),
        };
        if ended {
            track.rows.refuse_row(line, b"the file ends inside an element", Rule::Damaged)?;
        }
        track.rows.finish()?;
        return Ok(track.passed_over);
    }
}

/// The columns that have a figure in the first 16 MiB of a file.
///
/// # Errors
///
/// [`Unreadable`] as [`read`] gives it, where no column has any.
pub fn fields(source: impl Read) -> Result<Vec<Field>, Unreadable> {
    offered(source, &COLUMNS, |source, columns, sink| read(source, columns, sink))
}

fn not_gpx(line: u64, why: &str) -> Unreadable {
    Unreadable::NotTheFormat {
        line,
        why: format!("this is not a GPX file that can be read: {why}"),
    }
}

/// A file on its way.
struct Track<'a> {
    rows: Rows<'a>,
    /// Elements that are open.
    depth: usize,
    /// Whether the root has come.
    begun: bool,
    /// The point that is open, and its depth.
    point: Option<(Point, usize)>,
    /// The element whose text is being collected, and its depth.
    collecting: Option<(Wanted, usize)>,
    text: Text,
    passed_over: PassedOver,
}

impl Track<'_> {
    fn take(&mut self, line: u64, event: &Event<'_>) -> Result<(), Unreadable> {
        match event {
            Event::Start(tag) => {
                if self.depth == MOST_DEPTH {
                    let what = "the number of elements inside one another";
                    return Err(Unreadable::TooMuch { line, what, most: MOST_DEPTH as u64 });
                }
                self.depth += 1;
                self.open(line, tag)
            }
            Event::Empty(tag) => {
                self.depth += 1;
                self.open(line, tag)?;
                self.close()
            }
            Event::End(_) => self.close(),
            Event::Text(text) => {
                self.collect(text);
                Ok(())
            }
            Event::CData(text) => {
                self.collect(text);
                Ok(())
            }
            Event::GeneralRef(_) => {
                self.text.spoil();
                Ok(())
            }
            Event::DocType(_) => {
                Err(not_gpx(line, "it has a document type declaration, which GPX has not"))
            }
            Event::Comment(_) | Event::Decl(_) | Event::PI(_) | Event::Eof => Ok(()),
        }
    }

    fn open(&mut self, line: u64, tag: &BytesStart<'_>) -> Result<(), Unreadable> {
        let local_name = tag.local_name();
        let name = local_name.as_ref();
        if self.depth == 1 {
            if name != "gpx" || self.begun {
                return Err(not_gpx(line, NOT_THE_ROOT));
            }
            self.begun = true;
            return Ok(());
        }
        if self.collecting.is_some() {
            self.text.spoil();
            return Ok(());
        }
        match (name, &self.point) {
            ("trkpt", Some(_)) => Err(not_gpx(line, "a track point stands inside another")),
            ("trkpt", None) => {
                self.point = Some((Point::begin(line, tag), self.depth));
                Ok(())
            }
            (_, Some((_, depth))) => {
                let wanted = Wanted::of(name, self.depth.saturating_sub(*depth));
                self.collecting = wanted.map(|wanted| (wanted, self.depth));
                self.text.clear();
                Ok(())
            }
            ("wpt", None) => {
                self.passed_over.count("way points");
                Ok(())
            }
            ("rtept", None) => {
                self.passed_over.count("route points");
                Ok(())
            }
            (_, None) => Ok(()),
        }
    }

    fn collect(&mut self, text: &str) {
        if self.collecting.is_some() {
            self.text.push(text);
        }
    }

    fn close(&mut self) -> Result<(), Unreadable> {
        let depth = self.depth;
        self.depth = depth.saturating_sub(1);
        if let Some((wanted, _)) = self.collecting.take_if(|(_, at)| *at == depth)
            && let Some((point, _)) = &mut self.point
        {
            point.take(wanted, &self.text);
        }
        let Some((point, _)) = self.point.take_if(|(_, at)| *at == depth) else { return Ok(()) };
        let Some(time) = point.time else {
            return self.rows.refuse_row(point.line, point.time_text.as_bytes(), Rule::NotAMoment);
        };
        for (field, found, rule) in &point.refused {
            self.rows.refuse_cell(point.line, *field, found.as_bytes(), *rule)?;
        }
        self.rows.take(point.line, time, &point.figures)
    }
}
