//! Where a signal stands in a frame, and what its bits say.

use can_dbc::ByteOrder;

/// Bits of the longest frame.
const FRAME_BITS: u64 = 64 * 8;

/// The place of a signal's bits in a frame.
///
/// A DBC file numbers bits from the lowest of the first byte: bit `n` is bit `n % 8` (0 the lowest) of byte `n / 8`. A
/// little-endian signal begins at its lowest bit and goes up through that numbering. A big-endian one begins at its
/// highest bit, goes down to the lowest bit of that byte, and on at the highest bit of the next byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Layout {
    /// The byte with the signal's first bit.
    first_byte: usize,
    /// The byte after the one with its last bit.
    end_byte: usize,
    /// Bits above the lowest of the span, below the signal.
    shift: u32,
    /// Bits of the signal: 1 to 64.
    size: u32,
    little_endian: bool,
}

impl Layout {
    /// The place; absent where no frame could hold the signal, or it is not of 1 to 64 bits.
    pub(super) fn of(start_bit: u64, size: u64, order: ByteOrder) -> Option<Self> {
        if !(1..=64).contains(&size) || start_bit >= FRAME_BITS {
            return None;
        }
        let first_byte = start_bit / 8;
        let (end_bit_in_span, shift) = match order {
            ByteOrder::LittleEndian => (start_bit % 8 + size, start_bit % 8),
            ByteOrder::BigEndian => {
                let end = 7 - start_bit % 8 + size;
                (end, end.next_multiple_of(8) - end)
            }
        };
        let end_byte = first_byte + end_bit_in_span.div_ceil(8);
        if end_byte * 8 > FRAME_BITS {
            return None;
        }
        Some(Self {
            first_byte: usize::try_from(first_byte).ok()?,
            end_byte: usize::try_from(end_byte).ok()?,
            shift: u32::try_from(shift).ok()?,
            size: u32::try_from(size).ok()?,
            little_endian: order == ByteOrder::LittleEndian,
        })
    }

    /// The signal's bits as a whole number without sign; absent where the frame ends before them.
    pub(super) fn bits(self, frame: &[u8]) -> Option<u64> {
        let span = frame.get(self.first_byte..self.end_byte)?;
        // A span has at most nine bytes: 64 bits that begin inside a byte.
        let join = |bits: u128, byte: &u8| bits << 8 | u128::from(*byte);
        let bits = if self.little_endian {
            span.iter().rev().fold(0, join)
        } else {
            span.iter().fold(0, join)
        };
        // What is above the signal falls away in 64 bits or in the mask.
        Some((bits >> self.shift) as u64 & u64::MAX >> (64 - self.size))
    }
}

/// What a signal's bits are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Unsigned,
    /// Two's complement.
    Signed,
    /// IEEE 754 of 32 bits.
    Single,
    /// IEEE 754 of 64 bits.
    Double,
}

impl Kind {
    /// The figure of bits, before factor and offset. Whole numbers above 2^53 are rounded to the nearest that a figure
    /// can be.
    pub(super) fn figure(self, bits: u64, size_bits: u32) -> f64 {
        match self {
            Self::Unsigned => bits as f64,
            Self::Signed => {
                let spare = 64_u32.saturating_sub(size_bits);
                ((bits << spare) as i64 >> spare) as f64
            }
            Self::Single => f64::from(f32::from_bits(bits as u32)),
            Self::Double => f64::from_bits(bits),
        }
    }
}

impl Layout {
    /// How many bits the signal has.
    pub(super) fn size_bits(self) -> u32 {
        self.size
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand from the numbering of bits that [`Layout`] describes.
    #[test]
    fn signals_worked_by_hand_give_their_bits() {
        let frame = [0x12, 0x34, 0x56, 0x78, 0x9A, 0xBC, 0xDE, 0xF0];
        let little = |start, size| {
            Layout::of(start, size, ByteOrder::LittleEndian).expect("fits").bits(&frame)
        };
        let big =
            |start, size| Layout::of(start, size, ByteOrder::BigEndian).expect("fits").bits(&frame);
        // Whole bytes: 0x12 then 0x34, the lower first or the higher first.
        assert_eq!(little(0, 16), Some(0x3412));
        assert_eq!(big(7, 16), Some(0x1234));
        // The upper four bits of byte 0 and the lower four of byte 1; the lower four of 0 and the upper four of 1.
        assert_eq!(little(4, 8), Some(0x41));
        assert_eq!(big(3, 8), Some(0x23));
        // Bit 1 of byte 0 is set (0x12 = 0001 0010), bit 0 is not.
        assert_eq!((little(1, 1), little(0, 1)), (Some(1), Some(0)));
        assert_eq!((big(1, 1), big(0, 1)), (Some(1), Some(0)));
        // Twelve bits from the middle of byte 2: 0x5 6 78 -> 6, 7, 8.
        assert_eq!(big(19, 12), Some(0x678));
        assert_eq!(little(20, 12), Some(0x785));
        // The whole frame.
        assert_eq!(big(7, 64), Some(0x1234_5678_9ABC_DEF0));
        assert_eq!(little(0, 64), Some(0xF0DE_BC9A_7856_3412));
    }

    #[test]
    fn a_signal_beyond_the_end_of_the_frame_is_absent() {
        let at_end = Layout::of(8, 8, ByteOrder::LittleEndian).expect("fits");
        assert_eq!(at_end.bits(&[1, 2]), Some(2));
        assert_eq!(at_end.bits(&[1]), None);
        let across = Layout::of(0, 8, ByteOrder::BigEndian).expect("fits");
        assert_eq!(across.bits(&[1, 0x80]), Some(0xC0));
        assert_eq!(across.bits(&[1]), None);
    }

    #[test]
    fn a_signal_has_1_to_64_bits_inside_the_longest_frame() {
        let fits = |start, size, order| Layout::of(start, size, order).is_some();
        assert!(!fits(0, 0, ByteOrder::LittleEndian) && !fits(0, 65, ByteOrder::LittleEndian));
        assert!(fits(448, 64, ByteOrder::LittleEndian) && !fits(449, 64, ByteOrder::LittleEndian));
        assert!(fits(504, 1, ByteOrder::BigEndian) && !fits(504, 2, ByteOrder::BigEndian));
        assert!(!fits(u64::MAX, 1, ByteOrder::BigEndian));
    }

    #[test]
    fn the_highest_bit_of_a_signed_signal_is_its_sign() {
        assert_eq!(Kind::Signed.figure(0b111, 3), -1.0);
        assert_eq!(Kind::Signed.figure(0b100, 3), -4.0);
        assert_eq!(Kind::Signed.figure(0b011, 3), 3.0);
        assert_eq!(Kind::Unsigned.figure(0b111, 3), 7.0);
        assert_eq!(Kind::Signed.figure(u64::MAX, 64), -1.0);
        assert_eq!(Kind::Single.figure(0x3FC0_0000, 32), 1.5);
        assert_eq!(Kind::Double.figure(0xBFF8_0000_0000_0000, 64), -1.5);
    }
}
