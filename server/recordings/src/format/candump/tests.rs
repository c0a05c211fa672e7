//! Whole files through the reader.

use proptest::prelude::*;

use super::*;
use crate::format::trial::{Kept, as_they_are, damaged};

/// An invented bus: a pack, a motor with two multiplexed pages, a probe that sends floats, and an extended identifier.
const DBC: &str = r#"VERSION ""

NS_ :

BS_:

BU_: Pack Motor

BO_ 291 Pack: 8 Pack
 SG_ Voltage : 0|16@1+ (0.1,0) [0|900] "V" Motor
 SG_ Current : 16|16@1- (0.1,0) [-500|500] "A" Motor
 SG_ Charge : 39|8@0+ (0.5,0) [0|100] "%" Motor

BO_ 292 Motor: 4 Motor
 SG_ Page M : 0|4@1+ (1,0) [0|0] "" Pack
 SG_ Speed m0 : 8|16@1+ (1,0) [0|0] "rpm" Pack
 SG_ Winding m1 : 8|8@1- (1,40) [0|0] "degC" Pack

BO_ 2566853410 Probe: 8 Motor
 SG_ Sink : 0|32@1- (1,0) [0|0] "degC" Pack

CM_ SG_ 291 Voltage "At the terminals";
SIG_VALTYPE_ 2566853410 Sink : 1;
"#;

fn plan(dbc: &str) -> CandumpPlan {
    CandumpPlan { dbc: dbc.to_owned() }
}

fn read_as(
    log: &str,
    plan: &CandumpPlan,
    names: &[&str],
) -> Result<(Kept, PassedOver), Unreadable> {
    let mut kept = Kept::default();
    let passed_over = read(log.as_bytes(), plan, &as_they_are(names), &mut kept)?;
    Ok((kept, passed_over))
}

fn kept(log: &str, names: &[&str]) -> (Kept, PassedOver) {
    read_as(log, &plan(DBC), names).expect("a file that can be read")
}

fn why(result: Result<(Kept, PassedOver), Unreadable>) -> String {
    result.map(|(kept, _)| kept.rows()).expect_err("unreadable").to_string()
}

const ALL: [&str; 7] = [
    "Pack.Voltage",
    "Pack.Current",
    "Pack.Charge",
    "Motor.Page",
    "Motor.Speed",
    "Motor.Winding",
    "Probe.Sink",
];

#[test]
fn a_signal_is_missing_in_rows_whose_frames_do_not_carry_it() {
    // 0x0FA0 = 4000 is 400.0 V, 0xFFF6 = -10 is -1.0 A, 0x64 = 100 is 50 %; 0x07D0 = 2000 rpm; 0x42280000 is 42.0.
    let log = "(100.000001) can0 123#A00FF6FF64000000\n\
               (100.000002) can0 124#00D00700\n\
               (100.000003) can0 124#01D80000\n\
               (100.000004) can0 18FF1322#0000284200000000\n";

    let (kept, passed_over) = kept(log, &ALL);

    let none = None;
    assert_eq!(
        kept.rows(),
        [
            (100_000_001, vec![Some(400.0), Some(-1.0), Some(50.0), none, none, none, none]),
            (100_000_002, vec![none, none, none, Some(0.0), Some(2000.0), none, none]),
            (100_000_003, vec![none, none, none, Some(1.0), none, Some(0.0), none]),
            (100_000_004, vec![none, none, none, none, none, none, Some(42.0)]),
        ]
    );
    assert_eq!(kept.lines, [1, 2, 3, 4]);
    assert_eq!(kept.remarks, []);
    assert!(kept.refused.is_empty());
    assert_eq!(passed_over, PassedOver::default());
}

#[test]
fn frames_with_one_stamp_are_one_row_and_a_signal_that_comes_twice_keeps_its_first_value() {
    let log = "(100.5) can0 123#A00F000000000000\n\
               (100.5) can0 124#00D00700\n\
               (100.5) can0 123#B00F000000000000\n\
               (100.6) can0 123#B00F000000000000\n";

    let (kept, _) = kept(log, &["Motor.Speed", "Pack.Voltage"]);

    assert_eq!(
        kept.rows(),
        [(100_500_000, vec![Some(2000.0), Some(400.0)]), (100_600_000, vec![None, Some(401.6)])]
    );
    assert_eq!(kept.refusals(), [(3, Some("Pack.Voltage"), "401.6", Rule::TimeDoubled)]);
}

#[test]
fn scale_and_offset_of_the_mapping_come_after_those_of_the_database() {
    let mut columns = as_they_are(&["Pack.Current"]);
    columns[0].scale = -1000.0;
    columns[0].offset = 5.0;
    let mut kept = Kept::default();

    read("(1.0) can0 123#0000F6FF00\n".as_bytes(), &plan(DBC), &columns, &mut kept).expect("reads");

    assert_eq!(kept.rows(), [(1_000_000, vec![Some(1005.0)])]);
}

#[test]
fn a_frame_that_ends_before_a_signal_is_refused_in_that_signal_alone() {
    let (kept, _) = kept("(1.0) can0 123#A00FF6\n", &["Pack.Voltage", "Pack.Current"]);

    assert_eq!(kept.rows(), [(1_000_000, vec![Some(400.0), None])]);
    assert_eq!(kept.refusals(), [(1, Some("Pack.Current"), "A00FF6", Rule::Damaged)]);
}

#[test]
fn a_float_that_is_not_finite_is_refused() {
    let log = "(1.0) can0 18FF1322#0000C07F\n(2.0) can0 18FF1322#0000807F\n";

    let (kept, _) = kept(log, &["Probe.Sink"]);

    assert_eq!(kept.rows(), [(1_000_000, vec![None]), (2_000_000, vec![None])]);
    let column = Some("Probe.Sink");
    assert_eq!(
        kept.refusals(),
        [(1, column, "NaN", Rule::NotFinite), (2, column, "inf", Rule::NotFinite)]
    );
}

#[test]
fn what_carries_no_mapped_signal_is_counted_and_makes_no_row() {
    let log = "(1.0) can0 123#A00FF6FF64000000\n(2.0) can0 7FF#00\n(3.0) can0 123#R8\n\
               (4.0) can0 20000080#0000000000000000\n(5.0) can0 124#01D80000\n\n";

    let (kept, passed_over) = kept(log, &["Pack.Voltage", "Motor.Speed"]);

    assert_eq!(kept.times, [Micros(1_000_000)]);
    assert_eq!(passed_over.of("frames without a mapped signal"), 2);
    assert_eq!(passed_over.of("remote requests"), 1);
    assert_eq!(passed_over.of("error frames"), 1);
}

#[test]
fn a_standard_and_an_extended_identifier_of_one_number_are_two_messages() {
    let log = "(1.0) can0 123#A00F\n(2.0) can0 00000123#B00F\n";

    let (kept, passed_over) = kept(log, &["Pack.Voltage"]);

    assert_eq!(kept.times, [Micros(1_000_000)]);
    assert_eq!(passed_over.of("frames without a mapped signal"), 1);
}

#[test]
fn lines_that_cannot_be_read_are_refused_and_the_others_taken() {
    let log = "(1.0) can0 123#A00F\n(2.0) can0 123#A00\nnoise\n(3.0) can0 123#A00F";

    let (kept, _) = kept(log, &["Pack.Voltage"]);

    assert_eq!(kept.lines, [1, 4]);
    assert_eq!(kept.remarks, [Remark::EndsOpen]);
    assert_eq!(
        kept.refusals(),
        [(2, None, "(2.0) can0 123#A00", Rule::Damaged), (3, None, "noise", Rule::NotAMoment)]
    );
}

#[test]
fn messages_of_two_interfaces_want_the_interface_named_in_their_columns() {
    let log = "(1.0) can0 123#A00F\n(2.0) can1 7FF#00\n(3.0) can1 123#B00F\n(3.0) can0 123#D20F\n";

    let refused = read_as(log, &plan(DBC), &["Pack.Voltage"]);
    let (kept, passed_over) = kept(log, &["can1:Pack.Voltage", "can0:Pack.Voltage"]);

    let told = why(refused);
    assert!(told.starts_with("line 3: mapped messages come from can0 and from can1"), "{told}");
    assert_eq!(
        kept.rows(),
        [(1_000_000, vec![None, Some(400.0)]), (3_000_000, vec![Some(401.6), Some(405.0)])]
    );
    assert!(kept.refused.is_empty());
    assert_eq!(passed_over.of("frames without a mapped signal"), 1);
    let offered = fields(log.as_bytes(), &plan(DBC)).expect("reads");
    let names: Vec<_> = offered.iter().map(|field| field.name.as_str()).collect();
    let of = |interface: &str| ALL[..3].iter().map(|name| format!("{interface}:{name}")).collect();
    let wanted: Vec<Vec<String>> = vec![of("can0"), of("can1")];
    assert_eq!(names, wanted.concat());
}

#[test]
fn a_mapped_signal_that_the_database_lacks_is_named_with_those_it_has() {
    let refused = read_as("(1.0) can0 123#A00F\n", &plan(DBC), &["Pack.Volts", "Pack.Current"]);

    assert_eq!(
        why(refused),
        "the file has no column Pack.Volts; it has Pack.Voltage, Pack.Current, Pack.Charge, \
         Motor.Page, Motor.Speed, Motor.Winding, Probe.Sink"
    );
}

#[test]
fn a_file_that_is_not_candump_is_refused_at_its_thousandth_line_or_its_end() {
    let other = "time,voltage\n1,400\n".repeat(2_000);
    let mut sink = Kept::default();
    let refused = read(other.as_bytes(), &plan(DBC), &as_they_are(&["Pack.Voltage"]), &mut sink);
    assert!(matches!(refused, Err(Unreadable::NotTheFormat { .. })));
    assert!(sink.refused.len() <= 1_000);

    let dated = "(2015-07-10 08:50:52.249713)  can0  123   [2]  A0 0F\n";
    let told = why(read_as(dated, &plan(DBC), &["Pack.Voltage"]));
    assert!(told.contains("candump -ta"), "{told}");
    assert!(matches!(read_as("", &plan(DBC), &["Pack.Voltage"]), Err(Unreadable::NoRows)));
    let unmapped = read_as("(1.0) can0 7FF#00\n", &plan(DBC), &["Pack.Voltage"]);
    assert!(matches!(unmapped, Err(Unreadable::NoRows)));
}

#[test]
fn a_file_without_lines_is_refused_before_it_fills_the_memory() {
    let endless = std::io::repeat(b'(');

    let refused = read(endless, &plan(DBC), &as_they_are(&["Pack.Voltage"]), &mut Kept::default());

    assert!(matches!(refused, Err(Unreadable::TooMuch { line: 1, .. })));
}

#[test]
fn a_file_offers_the_signals_of_the_messages_that_come_in_it() {
    let log = "(1.0) can0 123#A00F\nnoise\n(2.0) can0 7FF#00\n";

    let offered = fields(log.as_bytes(), &plan(DBC)).expect("reads");

    let names: Vec<_> = offered.iter().map(|field| field.name.as_str()).collect();
    assert_eq!(names, ["Pack.Voltage", "Pack.Current", "Pack.Charge"]);
    assert_eq!(offered[1].unit.as_deref(), Some("A"));
    assert_eq!((offered[1].lowest, offered[1].highest), (Some(-500.0), Some(500.0)));
    assert!(fields("noise".as_bytes(), &plan(DBC)).is_err());
}

#[test]
fn multiplexors_above_multiplexors_all_have_to_select_a_signal() {
    let dbc = r#"BO_ 1 Deep: 8 Pack
 SG_ Outer M : 0|8@1+ (1,0) [0|0] "" Pack
 SG_ Inner m3M : 8|8@1+ (1,0) [0|0] "" Pack
 SG_ Value m5 : 16|8@1+ (1,0) [0|0] "" Pack

SG_MUL_VAL_ 1 Inner Outer 3-3;
SG_MUL_VAL_ 1 Value Inner 5-5, 16-24;
"#;
    let log = "(1.0) can0 001#03052A\n(2.0) can0 001#03182B\n(3.0) can0 001#03192C\n(4.0) can0 001#04052D\n";

    let (kept, _) = read_as(log, &plan(dbc), &["Deep.Value"]).expect("reads");

    assert_eq!(kept.rows(), [(1_000_000, vec![Some(42.0)]), (2_000_000, vec![Some(43.0)])]);
    // Without its line nothing says which of the two multiplexors selects the value.
    let unsaid = dbc.replace("SG_MUL_VAL_ 1 Value Inner 5-5, 16-24;\n", "");
    let told = why(read_as(log, &plan(&unsaid), &["Deep.Value"]));
    assert!(told.contains("several multiplexors"), "{told}");
    // A circle of multiplexors.
    let circle = dbc.replace("Inner Outer 3-3", "Inner Inner 3-3");
    let told = why(read_as(log, &plan(&circle), &["Deep.Value"]));
    assert!(told.contains("circle"), "{told}");
}

#[test]
fn a_database_that_says_two_things_of_a_mapped_signal_is_refused() {
    let log = "(1.0) can0 123#A00F\n";
    let twice = DBC.replace("BO_ 292 Motor", "BO_ 291 Motor");
    assert!(why(read_as(log, &plan(&twice), &["Pack.Voltage"])).contains("stands twice"));
    let signals = DBC.replace("Current", "Voltage");
    assert!(why(read_as(log, &plan(&signals), &["Pack.Voltage"])).contains("stands twice"));
    let float = DBC.replace("SIG_VALTYPE_ 2566853410 Sink : 1", "SIG_VALTYPE_ 2566853410 Sink : 2");
    assert!(why(read_as(log, &plan(&float), &["Probe.Sink"])).contains("SIG_VALTYPE_"));
    let wide = DBC.replace("0|16@1+", "505|16@1+");
    assert!(why(read_as(log, &plan(&wide), &["Pack.Voltage"])).contains("inside a frame"));
}

#[test]
fn a_standard_identifier_above_eleven_bits_is_refused_with_its_line() {
    let highest = DBC.replace("BO_ 291", "BO_ 2047");
    let (kept, _) =
        read_as("(1.0) can0 7FF#A00F\n", &plan(&highest), &["Pack.Voltage"]).expect("reads");
    assert_eq!(kept.rows(), [(1_000_000, vec![Some(400.0)])]);

    let above = DBC.replace("BO_ 291", "BO_ 2048");
    let told = why(read_as("(1.0) can0 123#A00F\n", &plan(&above), &["Pack.Voltage"]));
    assert!(told.starts_with("line 9: the DBC file has the identifier 2048"), "{told}");
}

#[test]
fn a_database_that_cannot_be_read_is_told_with_the_line() {
    let broken = DBC.replace("SG_ Current : 16|16@1-", "SG_ Current : 16|16@7-");

    let told = why(read_as("(1.0) can0 123#A00F\n", &plan(&broken), &["Pack.Voltage"]));

    assert!(told.starts_with("line 11: the DBC file cannot be read at"), "{told}");
    let large = " ".repeat((1 << 20) + 1);
    let told = read_as("", &plan(&large), &["Pack.Voltage"]);
    assert!(matches!(told, Err(Unreadable::TooMuch { .. })));
}

#[test]
fn a_database_in_the_encoding_of_most_tools_keeps_its_degree_signs() {
    assert_eq!(dbc_text(b"\"\xB0C\""), "\"°C\"");
    assert_eq!(dbc_text("\"°C\"".as_bytes()), "\"°C\"");
}

/// Puts bits into a frame one by one, in the numbering of DBC files: independent of what reads them.
fn encode(frame: &mut [u8], start_bit: usize, size: usize, little_endian: bool, value: u64) {
    let mut place = start_bit;
    for step in 0..size {
        let bit = if little_endian { step } else { size - 1 - step };
        if value >> bit & 1 == 1 {
            frame[place / 8] |= 1 << (place % 8);
        }
        place = match (little_endian, place % 8) {
            (true, _) => place + 1,
            (false, 0) => place + 15,
            (false, _) => place - 1,
        };
    }
}

/// A place of 1 to 64 bits that fits a frame of 64 bytes, and the frame's first byte after it.
fn place() -> impl Strategy<Value = (usize, usize, bool)> {
    (1_usize..=64, any::<bool>(), 0_usize..512).prop_map(|(size, little, start)| {
        let end = if little { start + size } else { start / 8 * 8 + 7 - start % 8 + size };
        let over = end.saturating_sub(512).div_ceil(8) * 8;
        (start - over, size, little)
    })
}

proptest! {
    #[test]
    fn a_value_put_into_a_frame_bit_by_bit_comes_out_as_it_was(
        (start, size, little) in place(),
        bits in any::<u64>(),
        signed in any::<bool>(),
        background in any::<bool>(),
        factor in prop_oneof![Just(1.0), Just(0.1), Just(-0.25)],
        offset in prop_oneof![Just(0.0), Just(-40.0)],
    ) {
        let value = bits & u64::MAX >> (64 - size);
        let mut frame = vec![0_u8; 64];
        encode(&mut frame, start, size, little, value);
        if background {
            // What stands around the signal must not matter.
            let mut mask = vec![0_u8; 64];
            encode(&mut mask, start, size, little, u64::MAX);
            frame.iter_mut().zip(mask).for_each(|(byte, own)| *byte |= !own);
        }
        let order = u8::from(little);
        let sign = if signed { '-' } else { '+' };
        let dbc = format!(
            "BO_ 5 M: 64 X\n SG_ S : {start}|{size}@{order}{sign} ({factor},{offset}) [0|0] \"\" X\n"
        );
        let digits: String = frame.iter().map(|byte| format!("{byte:02x}")).collect();
        let (kept, _) = read_as(&format!("(1.0) c 005##1{digits}\n"), &plan(&dbc), &["M.S"])
            .expect("reads");

        let negative = signed && value >> (size - 1) & 1 == 1;
        // Two's complement in wide arithmetic, independent of the shifts of the decoder.
        let number = if negative { i128::from(value) - (1_i128 << size) } else { i128::from(value) };
        prop_assert_eq!(kept.columns[0][0], number as f64 * factor + offset);
    }

    #[test]
    fn random_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
        let mut kept = Kept::default();
        let read = read(bytes.as_slice(), &plan(DBC), &as_they_are(&ALL), &mut kept);
        prop_assert!(read.is_err() || !kept.times.is_empty());
        let _ = fields(bytes.as_slice(), &plan(DBC));
    }

    #[test]
    fn a_damaged_file_is_read_or_refused(
        changes in proptest::collection::vec(any::<(usize, u8, u8)>(), 0..12),
    ) {
        let good = "(100.5) can0 123#A00FF6FF64000000\n(100.5) can0 124#00D00700 R\n\
                    (100.6) can0 18FF1322##10000284200000000\n (100.7)  can0  124   [4]  01 D8 00 00\n"
            .repeat(3);
        let mut kept = Kept::default();
        let log = damaged(good.into_bytes(), &changes);
        let read = read(log.as_slice(), &plan(DBC), &as_they_are(&ALL), &mut kept);
        prop_assert!(read.is_err() || !kept.times.is_empty());
    }

    #[test]
    fn a_damaged_database_is_read_or_refused(
        changes in proptest::collection::vec(any::<(usize, u8, u8)>(), 1..6),
    ) {
        let dbc = dbc_text(&damaged(DBC.as_bytes().to_vec(), &changes));
        let _ = read_as("(1.0) can0 123#A00FF6FF64000000\n", &plan(&dbc), &ALL);
        let _ = read_as("(1.0) can0 123#A00FF6FF64000000\n", &plan(&dbc), &["Pack.Voltage"]);
    }
}
