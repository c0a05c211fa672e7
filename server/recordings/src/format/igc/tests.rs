//! Whole files through the reader.

use proptest::prelude::*;

use super::*;
use crate::format::trial::{Kept, as_they_are, damaged};

/// An invented flight recorder's file.
const HEADER: &str = "AXXX001 invented\r\nHFDTE150724\r\nHFPLTPILOTINCHARGE:Nobody\r\n";

fn read_as(file: &str, names: &[&str]) -> Result<(Kept, PassedOver), Unreadable> {
    let mut kept = Kept::default();
    let passed_over = read(file.as_bytes(), &as_they_are(names), &mut kept)?;
    Ok((kept, passed_over))
}

fn kept(file: &str, names: &[&str]) -> Kept {
    read_as(file, names).expect("a file that can be read").0
}

fn why(file: &str, names: &[&str]) -> String {
    read_as(file, names).map(|(kept, _)| kept.rows()).expect_err("unreadable").to_string()
}

fn micros(text: &str) -> i64 {
    text.parse::<chrono::DateTime<chrono::Utc>>().expect("a moment").timestamp_micros()
}

const FIXED: [&str; 4] = ["latitude", "longitude", "pressure_altitude", "gnss_altitude"];

#[test]
fn a_fix_has_its_moment_position_and_both_altitudes() {
    let file = format!(
        "{HEADER}B0941145152265N00032642WA00115-0116\r\nB0941155152265S00032642EA0011500116\r\n"
    );

    let kept = kept(&file, &FIXED);

    let (latitude, longitude) = (51.0 + 52.265 / 60.0, 32.642 / 60.0);
    let north = vec![Some(latitude), Some(-longitude), Some(115.0), Some(-116.0)];
    let south = vec![Some(-latitude), Some(longitude), Some(115.0), Some(116.0)];
    let first = micros("2024-07-15T09:41:14Z");
    assert_eq!(kept.rows(), [(first, north), (first + 1_000_000, south)]);
    assert_eq!(kept.lines, [4, 5]);
}

#[test]
fn a_date_in_the_long_form_is_read_too() {
    for date in ["HFDTEDATE:150724,01", "HODTEDATE: 150724", "HPDTE150724", "HFDTE:150724"] {
        let file = format!("AXXX\n{date}\nB0941145152265N00032642WA0011500116\n");
        assert_eq!(kept(&file, &FIXED).times[0].0, micros("2024-07-15T09:41:14Z"), "{date}");
    }
}

#[test]
fn a_fix_of_two_dimensions_or_none_has_its_pressure_altitude_alone() {
    let file =
        format!("{HEADER}I033638FXA3941GSP4244TRT\nB0941145152265N00032642WV0011500000012087123\n");

    let kept =
        kept(&file, &[FIXED[0], FIXED[1], FIXED[2], FIXED[3], "fxa", "ground_speed", "track"]);

    let none = None;
    let wanted = vec![none, none, Some(115.0), none, Some(12.0), none, none];
    assert_eq!(kept.rows(), [(micros("2024-07-15T09:41:14Z"), wanted)]);
    assert!(kept.refused.is_empty());
}

#[test]
fn extensions_are_columns_and_refine_position_and_time() {
    let file = format!(
        "{HEADER}I083638FXA3940SIU4143GSP4446TRT4748LAD4950LOD5152TDS5355ENL\n\
         B0941145152265N00032642WA001150011601208087359123450099\n"
    );

    let kept = kept(
        &file,
        &["latitude", "longitude", "fxa", "satellites", "ground_speed", "track", "enl"],
    );

    // Minutes 52.26512 and 32.64234, second 14.50.
    let wanted = vec![
        Some(51.0 + 52.26512 / 60.0),
        Some(-32.64234 / 60.0),
        Some(12.0),
        Some(8.0),
        Some(87.0),
        Some(359.0),
        Some(99.0),
    ];
    let (time, found) = kept.rows().remove(0);
    assert_eq!(time, micros("2024-07-15T09:41:14.5Z"));
    for (found, wanted) in found.iter().zip(&wanted) {
        let difference = found.expect("a value") - wanted.expect("a value");
        // Two roundings of figures up to 360.
        assert!(difference.abs() < 1e-12, "{found:?} {wanted:?}");
    }
}

#[test]
fn an_extension_that_is_cut_is_damaged_one_that_is_no_figure_is_refused_and_a_blank_is_missing() {
    let file = format!(
        "{HEADER}I023638FXA3941ENL\nB0941145152265N00032642WA001150011601209\n\
         B0941155152265N00032642WA0011500116xyz099\nB0941165152265N00032642WA0011500116   -12\n"
    );

    let kept = kept(&file, &["fxa", "enl"]);

    let values: Vec<_> = kept.rows().into_iter().map(|(_, values)| values).collect();
    assert_eq!(values, [vec![Some(12.0), None], vec![None, Some(99.0)], vec![None, Some(-12.0)]]);
    assert_eq!(
        kept.refusals(),
        [(5, Some("enl"), "09", Rule::Damaged), (6, Some("fxa"), "xyz", Rule::NotANumber)]
    );
}

#[test]
fn a_fix_after_midnight_is_of_the_next_day_and_a_time_that_goes_back_by_day_is_not() {
    let fix = |time: &str| format!("B{time}5152265N00032642WA0011500116\n");
    let night = [fix("235958"), fix("000001"), fix("000002")].concat();
    let Kept { times, remarks, .. } = kept(&format!("{HEADER}{night}"), &FIXED);
    assert_eq!(remarks, [Remark::PassedMidnight { line: 5 }]);
    assert_eq!(times[1].0, micros("2024-07-16T00:00:01Z"));
    assert_eq!(times[2].0, micros("2024-07-16T00:00:02Z"));

    let day = [fix("100001"), fix("230002"), fix("100003")].concat();
    let times = kept(&format!("{HEADER}{day}"), &FIXED).times;
    assert_eq!(times[2].0, micros("2024-07-15T10:00:03Z"));

    let dated = format!("{HEADER}{}HFDTE170724\n{}", fix("235958"), fix("000001"));
    let Kept { times, remarks, .. } = kept(&dated, &FIXED);
    assert_eq!(times[1].0, micros("2024-07-17T00:00:01Z"));
    assert_eq!(remarks, []);
    assert_eq!(kept(dated.trim_end(), &FIXED).remarks, [Remark::EndsOpen]);
}

#[test]
fn a_damaged_fix_is_refused_with_its_line() {
    let good = "B0941145152265N00032642WA0011500116\n";
    let bad = [
        "B094114515226",
        "B2441145152265N00032642WA0011500116",
        "B0941605152265N00032642WA0011500116",
        "B0941149052265N00032642WA0011500116",
        "B0941145160000N00032642WA0011500116",
        "B0941145152265X00032642WA0011500116",
        "B0941145152265N18032642WA0011500116",
        "B0941145152265N00032642WB0011500116",
        "B0941145152265N00032642WA+011500116",
        "B0941145152265N00032642WA00115 0116",
    ];
    for line in bad {
        let kept = kept(&format!("{HEADER}{good}{line}\n{good}"), &FIXED);
        assert_eq!(kept.lines, [4, 6], "{line}");
        assert_eq!(kept.refusals(), [(5, None, line, Rule::Damaged)]);
    }
}

#[test]
fn other_records_are_counted() {
    let file = format!(
        "{HEADER}LXXXcomment\nB0941145152265N00032642WA0011500116\nE094115PEV\nGABCDEF\nGABCDEF\n\n?\n"
    );

    let (_, passed_over) = read_as(&file, &FIXED).expect("reads");

    let kinds: Vec<_> = passed_over.kinds().collect();
    assert_eq!(
        kinds,
        [
            ("A records", 1),
            ("E records", 1),
            ("G records", 2),
            ("H records", 1),
            ("L records", 1),
            ("empty lines", 1),
            ("lines of no known record", 1),
        ]
    );
}

#[test]
fn a_file_that_is_not_igc_or_lacks_what_is_needed_says_what() {
    let fix = "B0941145152265N00032642WA0011500116\n";
    assert!(why("time,alt\n", &FIXED).contains("begins neither"));
    assert!(why(&format!("AXXX\n{fix}"), &FIXED).starts_with("line 2"));
    assert!(why(&format!("AXXX\nHFDTE310224\n{fix}"), &FIXED).contains("calendar"));
    for extensions in [
        "I013638FX",
        "I0136",
        "I01AA38FXA",
        "I013538FXA",
        "I013836FXA",
        "I013638F A",
        "I023638FXA3941FXA",
    ] {
        let told = why(&format!("{HEADER}{extensions}\n{fix}"), &FIXED);
        // The 35th byte is the last of the fixed part.
        assert!(told.starts_with("line 4: this is not an IGC file"), "{extensions}: {told}");
    }
    let changed = format!("{HEADER}I013638FXA\n{fix}I013638ENL\n{fix}");
    assert!(why(&changed, &FIXED).contains("changes"));
    assert_eq!(
        why(&format!("{HEADER}{fix}"), &["enl"]),
        "the file has no column enl; it has latitude, longitude, pressure_altitude, gnss_altitude"
    );
    assert!(matches!(read_as(HEADER, &FIXED), Err(Unreadable::NoRows)));
    assert!(matches!(read_as("", &FIXED), Err(Unreadable::NoRows)));
}

#[test]
fn a_file_offers_what_its_fixes_carry() {
    let file = format!(
        "{HEADER}I053638FXA3941GSP4244XYZ4546LAD4751TAS\nB0941145152265N00032642WA0011500116\n"
    );

    let offered = fields(file.as_bytes()).expect("reads");

    let told: Vec<_> =
        offered.iter().map(|field| (field.name.as_str(), field.unit.as_deref())).collect();
    let fixed = FIXED_FIELDS.map(|(name, unit)| (name, Some(unit)));
    let wanted = [
        fixed.as_slice(),
        &[("fxa", Some("m")), ("ground_speed", Some("km/h")), ("xyz", None), ("tas", None)],
    ];
    assert_eq!(told, wanted.concat());
}

#[test]
fn a_file_without_lines_is_refused_before_it_fills_the_memory() {
    let refused = read(std::io::repeat(b'A'), &as_they_are(&FIXED), &mut Kept::default());
    assert!(matches!(refused, Err(Unreadable::TooMuch { line: 1, .. })));
}

proptest! {
    #[test]
    fn a_fix_written_from_whole_figures_reads_as_them(
        seconds in 0_i64..86_400,
        latitude in (0_i64..90, 0_i64..60_000, any::<bool>()),
        longitude in (0_i64..180, 0_i64..60_000, any::<bool>()),
        altitudes in (-9_999_i64..=99_999, -9_999_i64..=99_999),
    ) {
        let altitude = |metres: i64| if metres < 0 { format!("-{:04}", -metres) } else { format!("{metres:05}") };
        let fix = format!(
            "B{:02}{:02}{:02}{:02}{:05}{}{:03}{:05}{}A{}{}\n",
            seconds / 3600, seconds / 60 % 60, seconds % 60,
            latitude.0, latitude.1, if latitude.2 { 'N' } else { 'S' },
            longitude.0, longitude.1, if longitude.2 { 'E' } else { 'W' },
            altitude(altitudes.0), altitude(altitudes.1),
        );
        let (time, values) = kept(&format!("{HEADER}{fix}"), &FIXED).rows().remove(0);
        let degrees = |(whole, thousandths, positive): (i64, i64, bool)| {
            let degrees = whole as f64 + thousandths as f64 / 60_000.0;
            if positive { degrees } else { -degrees }
        };
        prop_assert_eq!(time, micros("2024-07-15T00:00:00Z") + seconds * 1_000_000);
        let wanted = [degrees(latitude), degrees(longitude), altitudes.0 as f64, altitudes.1 as f64];
        prop_assert_eq!(values, wanted.map(Some).to_vec());
    }

    #[test]
    fn random_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
        let begun = [HEADER.as_bytes(), &bytes].concat();
        for file in [bytes, begun] {
            let mut kept = Kept::default();
            let read = read(file.as_slice(), &as_they_are(&FIXED), &mut kept);
            prop_assert!(read.is_err() || !kept.times.is_empty());
            let _ = fields(file.as_slice());
        }
    }

    #[test]
    fn a_damaged_file_is_read_or_refused(
        changes in proptest::collection::vec(any::<(usize, u8, u8)>(), 0..12),
    ) {
        let fixes = "B0941145152265N00032642WA0011500116012087\nE094115PEV\nB0941155152265N00032642WV0011500000012087\n";
        let good = format!("{HEADER}I023638FXA3941ENL\n{}", fixes.repeat(3));
        let mut kept = Kept::default();
        let read = read(damaged(good.into_bytes(), &changes).as_slice(), &as_they_are(&FIXED), &mut kept);
        prop_assert!(read.is_err() || !kept.times.is_empty());
    }
}
