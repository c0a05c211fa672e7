//! One line of candump text.

use super::super::digits::{millionths, whole};
use crate::Micros;

/// Set in the identifier of an extended frame (29 bits); the same bit as in a DBC file.
pub(super) const EXTENDED: u32 = 1 << 31;
/// Set in the identifier that candump writes for an error frame.
const ERROR: u32 = 1 << 29;
/// Bytes that a frame has at most: those of CAN FD.
const MOST_BYTES: usize = 64;
/// Bytes that a frame of classical CAN has at most.
const MOST_CLASSIC_BYTES: usize = 8;
/// Bytes of an interface's name that are taken at most; those of Linux have at most 15.
const MOST_INTERFACE_BYTES: usize = 32;
/// Digits of whole seconds that are taken at most: far more than microseconds in 64 bits need.
const MOST_SECOND_DIGITS: usize = 12;

/// A line that could be read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line<'a> {
    pub(super) time: Micros,
    pub(super) interface: &'a [u8],
    pub(super) frame: Frame,
}

/// What a line tells of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Frame {
    Data(Data),
    /// A request for data, which has none.
    Remote,
    /// What the controller tells of the bus.
    Error,
}

/// A frame with data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Data {
    /// Identifier, with [`EXTENDED`].
    pub(super) id: u32,
    bytes: [u8; MOST_BYTES],
    length: usize,
}

impl Data {
    /// The bytes that came.
    pub(super) fn bytes(&self) -> &[u8] {
        self.bytes.get(..self.length).unwrap_or(&self.bytes)
    }

    fn push(&mut self, byte: u8) -> Option<()> {
        *self.bytes.get_mut(self.length)? = byte;
        self.length += 1;
        Some(())
    }
}

/// Why a line could not be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    /// It does not begin with a stamp in seconds.
    Moment,
    /// What follows the stamp is not a whole frame.
    Frame,
}

/// Reads a line of a log (`candump -l`, `-L`: `(1436509052.249713) can0 123#DEADBEEF`) or of the screen with a stamp
/// (`candump -ta`: ` (1436509052.249713)  can0  123   [4]  DE AD BE EF`). Stamps are seconds since 1970, UTC.
///
/// # Source
///
/// can-utils, `lib.h`: the layout of frames in compact and in long form, with its examples (see the tests); the stamp,
/// the interface and the direction behind the frame: from memory.
pub(super) fn parse(line: &[u8]) -> Result<Line<'_>, Fault> {
    let (stamp, rest) = split_stamp(line.trim_ascii()).ok_or(Fault::Moment)?;
    let time = moment(stamp).ok_or(Fault::Moment)?;
    let mut words = rest.split(|byte| *byte == b' ').filter(|word| !word.is_empty());
    let interface = words.next().filter(|name| name.len() <= MOST_INTERFACE_BYTES);
    let interface = interface.ok_or(Fault::Frame)?;
    let first = words.next().ok_or(Fault::Frame)?;
    let frame = match first.iter().position(|byte| *byte == b'#') {
        Some(hash) => compact(&first[..hash], &first[hash + 1..], words),
        None => long(first, words),
    };
    Ok(Line { time, interface, frame: frame.ok_or(Fault::Frame)? })
}

fn split_stamp(line: &[u8]) -> Option<(&[u8], &[u8])> {
    let inside = line.strip_prefix(b"(")?;
    let end = inside.iter().position(|byte| *byte == b')')?;
    Some((&inside[..end], &inside[end + 1..]))
}

fn moment(stamp: &[u8]) -> Option<Micros> {
    let point = stamp.iter().position(|byte| *byte == b'.')?;
    let (seconds, decimals) = (&stamp[..point], &stamp[point + 1..]);
    if seconds.len() > MOST_SECOND_DIGITS || decimals.is_empty() {
        return None;
    }
    Some(Micros(whole(seconds)? * 1_000_000 + millionths(decimals)?))
}

/// The form of logs: `id#data`, `id##flags data`, `id#R`, behind it the direction or nothing.
fn compact<'a>(id: &[u8], after: &[u8], mut rest: impl Iterator<Item = &'a [u8]>) -> Option<Frame> {
    let direction = rest.next();
    if !matches!(direction, None | Some(b"R" | b"T")) || rest.next().is_some() {
        return None;
    }
    let mut data = Data { id: log_identifier(id)?, bytes: [0; MOST_BYTES], length: 0 };
    if let Some(flexible) = after.strip_prefix(b"#") {
        let (flags, digits) = flexible.split_first()?;
        nibble(*flags)?;
        return read_bytes(digits, &mut data, MOST_BYTES).map(|()| frame_of(data));
    }
    if let Some(length) = after.strip_prefix(b"R").or(after.strip_prefix(b"r")) {
        // A length, and behind an underscore the length code that the bus really had: no data either way.
        let known = length.iter().all(|byte| byte.is_ascii_hexdigit() || *byte == b'_');
        return known.then_some(Frame::Remote);
    }
    // Behind an underscore stands the length code of a frame of eight bytes that had a greater one on the bus.
    let digits = match after.iter().position(|byte| *byte == b'_') {
        Some(at) if matches!(after[at + 1..], [b'9' | b'a'..=b'f' | b'A'..=b'F']) => &after[..at],
        Some(_) => return None,
        None => after,
    };
    let raw_length = digits.len() < after.len();
    read_bytes(digits, &mut data, MOST_CLASSIC_BYTES)?;
    (!raw_length || data.length == MOST_CLASSIC_BYTES).then(|| frame_of(data))
}

/// The form of the screen: `id   [length]  bytes`, behind them what `-a` and `-e` add.
fn long<'a>(first: &[u8], rest: impl Iterator<Item = &'a [u8]>) -> Option<Frame> {
    let mut words = rest.peekable();
    let mut id = first;
    if matches!(id, b"RX" | b"TX") {
        // Then come the two switches of CAN FD, each a letter or a dash.
        id = words.find(|word| !matches!(*word, b"-" | b"B" | b"E"))?;
    }
    let mut data = Data { id: screen_identifier(id)?, bytes: [0; MOST_BYTES], length: 0 };
    let length = words.next()?.strip_prefix(b"[")?.strip_suffix(b"]")?;
    let length = usize::try_from(whole(length)?).ok().filter(|length| *length <= MOST_BYTES)?;
    if words.next_if_eq(&b"remote".as_slice()).is_some() {
        return (words.next() == Some(b"request")).then_some(Frame::Remote);
    }
    for _ in 0..length {
        let [high, low] = *words.next()? else { return None };
        data.push(nibble(high)? << 4 | nibble(low)?)?;
    }
    match words.next() {
        None | Some(b"ERRORFRAME") => Some(frame_of(data)),
        Some(text) if text.starts_with(b"'") => Some(frame_of(data)),
        Some(_) => None,
    }
}

fn frame_of(data: Data) -> Frame {
    if data.id & EXTENDED != 0 && data.id & ERROR != 0 { Frame::Error } else { Frame::Data(data) }
}

/// Three digits are a standard identifier, eight an extended one or an error.
fn log_identifier(digits: &[u8]) -> Option<u32> {
    if digits.len() == 3 || digits.len() == 8 { screen_identifier(digits) } else { None }
}

/// As in a log; the screen also shows standard identifiers without leading zeros.
fn screen_identifier(digits: &[u8]) -> Option<u32> {
    let mut id = 0_u32;
    for digit in digits {
        id = id.checked_mul(16)? | u32::from(nibble(*digit)?);
    }
    match digits.len() {
        1..=3 if id <= 0x7FF => Some(id),
        8 if id < ERROR << 1 => Some(id | EXTENDED),
        _ => None,
    }
}

/// Pairs of digits, with points between pairs or without.
fn read_bytes(mut digits: &[u8], data: &mut Data, most: usize) -> Option<()> {
    while let [high, low, after @ ..] = digits {
        data.push(nibble(*high)? << 4 | nibble(*low)?)?;
        digits = match after.strip_prefix(b".") {
            Some([]) => return None,
            Some(next) => next,
            None => after,
        };
    }
    (digits.is_empty() && data.length <= most).then_some(())
}

fn nibble(digit: u8) -> Option<u8> {
    match digit {
        b'0'..=b'9' => Some(digit - b'0'),
        b'a'..=b'f' => Some(digit - b'a' + 10),
        b'A'..=b'F' => Some(digit - b'A' + 10),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(frame: &str) -> Option<Frame> {
        parse(format!("(1436509052.249713) vcan0 {frame}").as_bytes()).ok().map(|line| line.frame)
    }

    fn data(frame: &str) -> Option<(u32, Vec<u8>)> {
        match read(frame)? {
            Frame::Data(data) => Some((data.id, data.bytes().to_vec())),
            Frame::Remote | Frame::Error => None,
        }
    }

    #[test]
    fn a_line_has_its_stamp_its_interface_and_its_frame() {
        let line = parse(b"(1436509052.249713) vcan0 044#2A366C2BBA").expect("a line of a log");

        assert_eq!(line.time, Micros(1_436_509_052_249_713));
        assert_eq!(line.interface, b"vcan0");
        assert_eq!(data("044#2A366C2BBA"), Some((0x44, vec![0x2A, 0x36, 0x6C, 0x2B, 0xBA])));
    }

    /// The examples of can-utils, `lib.h` (compact form).
    #[test]
    fn the_published_examples_of_the_compact_form_read_as_they_say() {
        let eight = vec![0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88];
        let extended = 0x1234_5678 | EXTENDED;
        assert_eq!(data("123#"), Some((0x123, vec![])));
        assert_eq!(data("12345678#"), Some((extended, vec![])));
        for remote in ["123#R", "123#R0", "123#R7", "7A1#r", "12345678#R", "12345678#R5"] {
            assert_eq!(read(remote), Some(Frame::Remote), "{remote}");
        }
        assert_eq!(data("123#00"), Some((0x123, vec![0])));
        for same in
            ["123#1122334455667788", "123#11.22.33.44.55.66.77.88", "123#11.2233.44556677.88"]
        {
            assert_eq!(data(same), Some((0x123, eight.clone())), "{same}");
        }
        assert_eq!(read("32345678#112233"), Some(Frame::Error));
        for fd in ["123##0112233", "123##1112233", "123##2112233"] {
            assert_eq!(data(fd), Some((0x123, vec![0x11, 0x22, 0x33])), "{fd}");
        }
        assert_eq!(data("123##3"), Some((0x123, vec![])));
    }

    /// The examples of can-utils, `lib.h` (long form).
    #[test]
    fn the_published_examples_of_the_long_form_read_as_they_say() {
        let extended = 0x1234_5678 | EXTENDED;
        let three = vec![0x11, 0x22, 0x33];
        assert_eq!(data("12345678   [3]  11 22 33"), Some((extended, three.clone())));
        assert_eq!(read("12345678   [0]  remote request"), Some(Frame::Remote));
        let ascii = "14B0DC51   [8]  4A 94 E8 2A EC 58 55 62   'J..*.XUb'";
        let bytes = vec![0x4A, 0x94, 0xE8, 0x2A, 0xEC, 0x58, 0x55, 0x62];
        assert_eq!(data(ascii), Some((0x14B0_DC51 | EXTENDED, bytes)));
        assert_eq!(
            read("20001111   [7]  C6 23 7B 32 69 98 3C      ERRORFRAME"),
            Some(Frame::Error)
        );
        assert_eq!(data("12345678  [03]  11 22 33"), Some((extended, three.clone())));
        assert_eq!(data("123   [3]  11 22 33"), Some((0x123, three.clone())));
        assert_eq!(data("     123   [3]  11 22 33"), Some((0x123, three)));
    }

    #[test]
    fn directions_and_raw_length_codes_do_not_change_a_frame() {
        let eight = vec![1, 2, 3, 4, 5, 6, 7, 8];
        assert_eq!(data("123#DEAD R"), Some((0x123, vec![0xDE, 0xAD])));
        assert_eq!(data("123#DEAD T"), Some((0x123, vec![0xDE, 0xAD])));
        assert_eq!(data("123#0102030405060708_B"), Some((0x123, eight)));
        assert_eq!(data("RX B -  123   [1]  7F"), Some((0x123, vec![0x7F])));
        assert_eq!(data("TX - -  5   [1]  7F"), Some((0x5, vec![0x7F])));
    }

    #[test]
    fn frames_that_are_cut_or_too_long_are_refused() {
        let cut = [
            "",
            "123",
            "123#1",
            "123#11.",
            "123#112233445566778899",
            "123#11_B",
            "123#GG",
            "12#11",
            "1234#11",
            "800#11",
            "42345678#11",
            "123##",
            "123##G11",
            "123#DEAD X",
            "123#DEAD R R",
            "123 [2] 11",
            "123 [1] 11 22",
            "123 [65]",
            "123 [x] 11",
            "123 [1] 1",
            "123#0102030405060708_8",
            "RX",
            "RX - -",
        ];
        for frame in cut {
            let line = format!("(1436509052.249713) vcan0 {frame}");
            assert_eq!(parse(line.as_bytes()), Err(Fault::Frame), "{frame}");
        }
        let longest = format!("123##0{}", "AB".repeat(64));
        assert_eq!(data(&longest), Some((0x123, vec![0xAB; 64])));
        assert_eq!(read(&format!("{longest}AB")), None);
    }

    #[test]
    fn a_stamp_is_seconds_with_decimals_and_nothing_else() {
        let stamps = [
            "",
            "1436509052",
            "1436509052.",
            ".249713",
            "2015-07-10 08:50:52.249713",
            "-1.0",
            "1.0.0",
            "1234567890123.0",
            "1e9.0",
        ];
        for stamp in stamps {
            let line = format!("({stamp}) vcan0 123#11");
            assert_eq!(parse(line.as_bytes()), Err(Fault::Moment), "{stamp}");
        }
        assert_eq!(parse(b"vcan0 123#11"), Err(Fault::Moment));
        let nanoseconds = parse(b"(1436509052.249713999) vcan0 123#11").expect("a line");
        assert_eq!(nanoseconds.time, Micros(1_436_509_052_249_713));
    }
}
