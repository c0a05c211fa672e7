//! B records, and the I record that says what stands behind their fixed part.

use crate::Rule;
use crate::format::Field;
use crate::format::digits::{degrees, figure, hemisphere, millionths, time_of_day, whole};

/// The columns that every fix has, with their units.
pub(super) const FIXED_FIELDS: [(&str, &str); 4] =
    [("latitude", "deg"), ("longitude", "deg"), ("pressure_altitude", "m"), ("gnss_altitude", "m")];
/// Bytes of the fixed part of a B record.
const FIXED_BYTES: usize = 35;

/// Extensions with a name or a unit: code, name, and the unit of a figure of three digits (all from memory of the
/// specification). Recorders that write more digits mean decimals of some unit, which nothing in the file says.
const KNOWN: [(&str, &str, Option<&str>); 11] = [
    ("GSP", "ground_speed", Some("km/h")),
    ("TRT", "track", Some("deg")),
    ("SIU", "satellites", None),
    ("FXA", "fxa", Some("m")),
    ("VXA", "vxa", Some("m")),
    ("IAS", "ias", Some("km/h")),
    ("TAS", "tas", Some("km/h")),
    ("HDT", "hdt", Some("deg")),
    ("HDM", "hdm", Some("deg")),
    ("WDI", "wdi", Some("deg")),
    ("WVE", "wve", Some("km/h")),
];
/// Digits of an extension whose unit is known.
const KNOWN_DIGITS: usize = 3;

/// One extension of the I record.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Extension {
    /// Three letters or digits.
    code: String,
    /// Its first byte in the line; the first of the line is 0.
    from: usize,
    /// The byte behind its last.
    to: usize,
}

/// What stands behind the fixed part of fixes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Extensions {
    /// Those that are columns.
    columns: Vec<Extension>,
    /// More decimals of the minutes of latitude and longitude, and decimals of the seconds.
    latitude: Option<Extension>,
    longitude: Option<Extension>,
    seconds: Option<Extension>,
}

impl Extensions {
    /// Reads `I`, the number of extensions, and for each its first byte, its last byte and its code.
    pub(super) fn read(line: &[u8]) -> Option<Self> {
        let count = usize::try_from(whole(line.get(1..3)?)?).ok()?;
        let entries = line.get(3..)?;
        if entries.len() != count * 7 {
            return None;
        }
        let mut found = Self::default();
        for entry in entries.chunks_exact(7) {
            let place = |from: usize| usize::try_from(whole(entry.get(from..from + 2)?)?).ok();
            let code = std::str::from_utf8(entry.get(4..)?).ok()?.to_ascii_uppercase();
            if !code.bytes().all(|byte| byte.is_ascii_alphanumeric()) {
                return None;
            }
            let (from, to) = (place(0)?.checked_sub(1)?, place(2)?);
            if from < FIXED_BYTES || to <= from {
                return None;
            }
            let extension = Extension { code, from, to };
            match extension.code.as_str() {
                "LAD" => found.latitude = Some(extension),
                "LOD" => found.longitude = Some(extension),
                "TDS" => found.seconds = Some(extension),
                _ if found.columns.iter().any(|known| known.code == extension.code) => return None,
                _ => found.columns.push(extension),
            }
        }
        Some(found)
    }

    /// The names of all columns, in the order of a fix's figures.
    pub(super) fn names(&self) -> Vec<String> {
        let fixed = FIXED_FIELDS.iter().map(|(name, _)| (*name).to_owned());
        fixed.chain(self.fields().map(|field| field.name)).collect()
    }

    /// The columns that the I record adds.
    pub(super) fn fields(&self) -> impl Iterator<Item = Field> {
        self.columns.iter().map(|extension| {
            match KNOWN.iter().find(|(code, _, _)| *code == extension.code) {
                Some((_, name, unit)) => {
                    let digits = extension.to - extension.from;
                    Field::new(name, unit.filter(|_| digits == KNOWN_DIGITS))
                }
                None => Field::new(&extension.code.to_ascii_lowercase(), None),
            }
        })
    }
}

/// One fix.
pub(super) struct Fix {
    /// UTC, in microseconds since midnight.
    pub(super) time_of_day: i64,
    /// The figure of each column, NaN where there is none.
    pub(super) figures: Vec<f64>,
    /// Cells that could not be read: which, what stood there, why.
    pub(super) refused: Vec<(usize, Vec<u8>, Rule)>,
}

impl Fix {
    /// Reads a B record: `B`, time, latitude, longitude, validity, pressure altitude, GNSS altitude, extensions.
    pub(super) fn read(line: &[u8], extensions: &Extensions) -> Option<Self> {
        let more = |extension: &Option<Extension>| match extension {
            Some(of) => line.get(of.from..of.to),
            None => Some([].as_slice()),
        };
        let time_of_day = time_of_day(line.get(1..7)?)? + millionths(more(&extensions.seconds)?)?;
        let is_3d = match line.get(24)? {
            b'A' => true,
            b'V' => false,
            _ => return None,
        };
        let latitude = [line.get(7..14)?, more(&extensions.latitude)?].concat();
        let latitude = hemisphere(degrees(&latitude, 2, 90)?, line.get(14..15)?, b'N', b'S')?;
        let longitude = [line.get(15..23)?, more(&extensions.longitude)?].concat();
        let longitude = hemisphere(degrees(&longitude, 3, 180)?, line.get(23..24)?, b'E', b'W')?;
        let (pressure, gnss) = (altitude(line.get(25..30)?)?, altitude(line.get(30..35)?)?);
        let when_3d = |figure: f64| if is_3d { figure } else { f64::NAN };
        let mut fix = Self {
            time_of_day,
            figures: vec![when_3d(latitude), when_3d(longitude), pressure, when_3d(gnss)],
            refused: Vec::new(),
        };
        for extension in &extensions.columns {
            let of_the_fix = matches!(extension.code.as_str(), "GSP" | "TRT");
            let figure = match fix.extension(line, extension) {
                Some(figure) if is_3d || !of_the_fix => figure,
                _ => f64::NAN,
            };
            fix.figures.push(figure);
        }
        Some(fix)
    }

    /// The figure of an extension; absent where it is blank, or refused.
    fn extension(&mut self, line: &[u8], extension: &Extension) -> Option<f64> {
        let field = self.figures.len();
        let Some(written) = line.get(extension.from..extension.to) else {
            let rest = line.get(extension.from..).unwrap_or_default().to_vec();
            self.refused.push((field, rest, Rule::Damaged));
            return None;
        };
        let written = written.trim_ascii();
        if written.is_empty() {
            return None;
        }
        let found = figure(written);
        if found.is_none() {
            self.refused.push((field, written.to_vec(), Rule::NotANumber));
        }
        found
    }
}

/// Five digits of metres, or a minus sign and four.
fn altitude(written: &[u8]) -> Option<f64> {
    let metres = match written.strip_prefix(b"-") {
        Some(digits) => -whole(digits)?,
        None => whole(written)?,
    };
    Some(metres as f64)
}
