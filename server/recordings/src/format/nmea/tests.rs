//! Whole files through the reader.

use proptest::prelude::*;

use super::*;
use crate::Micros;
use crate::format::trial::{Kept, as_they_are, damaged};

const ALL: [&str; 8] = [
    "latitude",
    "longitude",
    "ground_speed",
    "track",
    "gnss_altitude",
    "satellites",
    "hdop",
    "quality",
];

/// A sentence with its checksum.
fn sentence(content: &str) -> String {
    let sum = content.bytes().fold(0, |sum, byte| sum ^ byte);
    format!("${content}*{sum:02X}\r\n")
}

fn file(contents: &[&str]) -> String {
    contents.iter().map(|content| sentence(content)).collect()
}

fn read_as(file: &str, names: &[&str]) -> Result<(Kept, PassedOver), Unreadable> {
    let mut kept = Kept::default();
    let passed_over = read(file.as_bytes(), &as_they_are(names), &mut kept)?;
    Ok((kept, passed_over))
}

fn kept(file: &str, names: &[&str]) -> Kept {
    read_as(file, names).expect("a file that can be read").0
}

fn micros(text: &str) -> i64 {
    text.parse::<chrono::DateTime<chrono::Utc>>().expect("a moment").timestamp_micros()
}

/// The example sentences that most descriptions of NMEA 0183 have, with their checksums; from memory.
#[test]
fn the_common_example_sentences_read_as_they_say() {
    let examples = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n\
                    $GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n";

    let kept = kept(examples, &ALL);

    let (latitude, longitude) = (48.0 + 7.038 / 60.0, 11.0 + 31.0 / 60.0);
    let wanted = [latitude, longitude, 22.4, 84.4, 545.4, 8.0, 0.9, 1.0].map(Some);
    assert_eq!(kept.rows(), [(micros("1994-03-23T12:35:19Z"), wanted.to_vec())]);
    assert!(kept.refused.is_empty());
}

#[test]
fn sentences_of_one_time_are_one_row_whatever_their_talker() {
    let file = file(&[
        "GNRMC,091011.20,A,4730.0000,S,01115.0000,W,61.3,270.5,150724,,,A",
        "GPVTG,099.9,T,,M,001.0,N,001.9,K,A",
        "GNGGA,091011.20,4730.0000,S,01115.0000,W,2,11,0.8,512.3,M,47.0,M,,",
        "GNGGA,091011.30,4730.0006,S,01115.0006,W,2,11,0.8,512.4,M,47.0,M,,",
        "GPVTG,271.0,T,,M,061.0,N,113.0,K,A",
    ]);

    let kept = kept(&file, &["ground_speed", "track", "gnss_altitude", "latitude"]);

    let first = micros("2024-07-15T09:10:11.2Z");
    let rows = [
        (first, vec![Some(61.3), Some(270.5), Some(512.3), Some(-47.5)]),
        (first + 100_000, vec![Some(61.0), Some(271.0), Some(512.4), Some(-47.50001)]),
    ];
    assert_eq!(kept.rows(), rows);
    assert_eq!(kept.lines, [1, 4]);
}

#[test]
fn what_is_no_measured_fix_gives_no_position() {
    let gga = |second: u32, quality: u32| {
        sentence(&format!(
            "GPGGA,09101{second},4730.0000,N,01115.0000,E,{quality},05,1.5,512.3,M,,M,,"
        ))
    };
    let rmc = sentence("GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,");
    let kept =
        kept(&[rmc, gga(1, 0), gga(2, 5), gga(3, 6), gga(4, 8)].concat(), &["latitude", "quality"]);
    let values: Vec<_> = kept.rows().into_iter().map(|(_, values)| values).collect();
    let at = Some(47.5);
    assert_eq!(
        values,
        [
            vec![at, None],
            vec![None, Some(0.0)],
            vec![at, Some(5.0)],
            vec![None, Some(6.0)],
            vec![None, Some(8.0)],
        ]
    );

    let unfit = [
        "GPRMC,091010,V,4730.0000,N,01115.0000,E,61.3,270.5,150724,,",
        "GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,,S",
        "GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,,E",
    ];
    for content in unfit {
        assert!(matches!(read_as(&sentence(content), &ALL), Err(Unreadable::NoRows)), "{content}");
    }
}

#[test]
fn a_row_before_the_first_date_is_refused_unless_it_is_no_fix() {
    let file = file(&[
        "GPGGA,091008,,,,,0,00,,,M,,M,,",
        "GPGGA,091009,4730.0000,N,01115.0000,E,1,05,1.5,512.3,M,,M,,",
        "GPGGA,091010,4730.0000,N,01115.0000,E,1,05,1.5,512.3,M,,M,,",
        "GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,",
    ]);

    let (kept, passed_over) = read_as(&file, &["latitude", "quality"]).expect("reads");

    assert_eq!(kept.times, [Micros(micros("2024-07-15T09:10:10Z"))]);
    let refused = kept.refusals();
    assert_eq!(refused.len(), 1);
    assert_eq!((refused[0].0, refused[0].3), (2, Rule::NotAMoment));
    assert_eq!(passed_over.of("GGA without fix and date"), 1);
}

#[test]
fn a_row_without_rmc_is_of_the_next_day_after_midnight() {
    let file = file(&[
        "GPRMC,235959,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,",
        "GPGGA,000000,4730.0000,N,01115.0000,E,1,05,1.5,512.3,M,,M,,",
        "GPGGA,000001,4730.0000,N,01115.0000,E,1,05,1.5,512.3,M,,M,,",
        "GPRMC,000001,A,4730.0000,N,01115.0000,E,61.3,270.5,160724,,",
    ]);

    let Kept { times, remarks, .. } = kept(&file, &ALL);

    assert_eq!(remarks, [Remark::PassedMidnight { line: 2 }]);

    let first = micros("2024-07-15T23:59:59Z");
    assert_eq!(times, [Micros(first), Micros(first + 1_000_000), Micros(first + 2_000_000)]);
}

#[test]
fn a_line_with_one_bit_changed_is_refused_as_damaged() {
    let good = sentence("GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,");
    for at in 0..good.trim_end().len() {
        for bit in 0..7 {
            let mut bytes = good.clone().into_bytes();
            bytes[at] ^= 1 << bit;
            let lower_case_digit = at >= good.trim_end().len() - 2
                && bytes[at].eq_ignore_ascii_case(&good.as_bytes()[at]);
            let file = [bytes.as_slice(), good.as_bytes()].concat();
            let mut kept = Kept::default();
            let read = read(file.as_slice(), &as_they_are(&ALL), &mut kept);
            // The case of a digit of the checksum says nothing, and a new end of line makes two lines.
            if lower_case_digit || bytes[at] == b'\n' || bytes[at] == b'\r' {
                continue;
            }
            assert!(read.is_ok());
            assert!(!kept.refused.is_empty(), "byte {at} bit {bit}");
        }
    }
}

#[test]
fn lines_that_are_not_whole_sentences_are_refused() {
    let good = sentence("GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,");
    let bad = [
        "$GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,\n".to_owned(),
        "*00\n".to_owned(),
        "noise\n".to_owned(),
        sentence("GPRMC,091010,A,4730.0000,N"),
        sentence("GPGGA,091010,4730.0000,N"),
        sentence("GPVTG,099.9,001.0"),
        sentence("GPRM,1"),
    ];
    for line in bad {
        let kept = kept(&format!("{good}{line}"), &ALL);
        assert_eq!(kept.times.len(), 1);
        assert_eq!(kept.refused.len(), 1, "{line}");
        assert_eq!((kept.refused[0].line, kept.refused[0].rule), (2, Rule::Damaged));
    }
}

#[test]
fn cells_that_are_no_figures_and_moments_that_are_none_are_refused() {
    let file = file(&[
        "GPRMC,091010,A,4760.0000,N,01115.0000,X,6x.3,,150724,,",
        "GPGGA,091010,,,,,1,05,1.5,512.3,F,,M,,",
        "GPRMC,091060,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,",
        "GPRMC,091011,A,4730.0000,N,01115.0000,E,61.3,270.5,320724,,",
        "GPGGA,0910,4730.0000,N,01115.0000,E,1,05,1.5,512.3,M,,M,,",
    ]);

    let kept = kept(&file, &ALL);

    let none = None;
    let values = vec![none, none, none, none, none, Some(5.0), Some(1.5), Some(1.0)];
    assert_eq!(kept.rows(), [(micros("2024-07-15T09:10:10Z"), values)]);
    let refused: Vec<_> = kept
        .refusals()
        .into_iter()
        .map(|(line, column, found, rule)| (line, column, found.len(), rule))
        .collect();
    assert_eq!(
        refused,
        [
            (1, Some("latitude"), 9, Rule::NotANumber),
            (1, Some("longitude"), 10, Rule::NotANumber),
            (1, Some("ground_speed"), 4, Rule::NotANumber),
            (2, Some("gnss_altitude"), 5, Rule::NotANumber),
            (3, None, 40, Rule::NotAMoment),
            (4, None, 40, Rule::NotAMoment),
            (5, None, 40, Rule::NotAMoment),
        ]
    );
}

#[test]
fn other_sentences_are_counted() {
    let file = [
        file(&[
            "GPVTG,099.9,T,,M,001.0,N,001.9,K,A",
            "GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,",
            "GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1",
            "GLGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1",
            "PXYZ,1,2",
            "GPRMC,091011,V,,,,,,,150724,,",
            "GPVTG,,T,,M,,N,,K,N",
        ]),
        sentence("AIVDM,1").replacen('$', "!", 1),
        format!("\\s:a,c:1*0F\\{}", sentence("GPTXT,1")),
    ]
    .concat();

    let (kept, passed_over) = read_as(&file, &ALL).expect("reads");

    assert_eq!(kept.refused, []);
    let kinds: Vec<_> = passed_over.kinds().collect();
    assert_eq!(
        kinds,
        [
            ("GSA", 2),
            ("RMC without a fix", 1),
            ("TXT", 1),
            ("VTG before any time", 1),
            ("VTG without a fix", 1),
            ("encapsulated sentences", 1),
            ("sentences of makers", 1),
        ]
    );
}

#[test]
fn a_file_that_is_not_nmea_is_refused() {
    let other = "time,voltage\n1,400\n".repeat(2_000);
    let mut sink = Kept::default();
    let refused = read(other.as_bytes(), &as_they_are(&ALL), &mut sink);
    assert!(matches!(refused, Err(Unreadable::NotTheFormat { .. })));
    assert!(sink.refused.len() <= 1_000);
    assert!(matches!(read_as("noise", &ALL), Err(Unreadable::NotTheFormat { .. })));
    assert!(matches!(read_as("", &ALL), Err(Unreadable::NoRows)));
    assert!(matches!(read_as("", &["height"]), Err(Unreadable::NoSuchColumns { .. })));
    let endless = read(std::io::repeat(b'$'), &as_they_are(&ALL), &mut Kept::default());
    assert!(matches!(endless, Err(Unreadable::TooMuch { line: 1, .. })));
}

#[test]
fn a_file_offers_the_columns_that_have_a_figure() {
    let file = file(&["GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,,150724,,", "GPVTG,1"]);

    let offered = fields(file.as_bytes()).expect("reads");

    let names: Vec<_> = offered.iter().map(|field| field.name.as_str()).collect();
    assert_eq!(names, ["latitude", "longitude", "ground_speed"]);
    assert_eq!(offered[2].unit.as_deref(), Some("kt"));
    assert!(fields("noise".as_bytes()).is_err());
}

#[test]
fn kinds_of_sentences_that_are_told_apart_are_bounded() {
    let letter = |at: u32| char::from_u32(u32::from(b'A') + at).expect("a letter");
    let many: String = (0..26 * 26)
        .map(|at| sentence(&format!("GPX{}{},1", letter(at / 26), letter(at % 26))))
        .collect();
    let rmc = sentence("GPRMC,091010,A,4730.0000,N,01115.0000,E,61.3,270.5,150724,,");

    let (_, passed_over) = read_as(&format!("{many}{rmc}"), &ALL).expect("reads");

    assert_eq!(passed_over.kinds().count(), 65);
    assert_eq!(passed_over.of("others"), 26 * 26 - 64);
}

proptest! {
    #[test]
    fn random_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
        let mut kept = Kept::default();
        let read = read(bytes.as_slice(), &as_they_are(&ALL), &mut kept);
        prop_assert!(read.is_err() || !kept.times.is_empty());
    }

    #[test]
    fn random_fields_behind_good_checksums_are_read_or_refused(
        kinds in proptest::collection::vec((0_usize..3, "[0-9.,NSEWAVMTK-]{0,90}"), 1..20),
    ) {
        let contents = kinds.iter().map(|(kind, fields)| {
            sentence(&format!("GP{},{fields}", ["RMC", "GGA", "VTG"][*kind]))
        });
        let mut kept = Kept::default();
        let read = read(contents.collect::<String>().as_bytes(), &as_they_are(&ALL), &mut kept);
        prop_assert!(read.is_err() || !kept.times.is_empty());
    }

    #[test]
    fn a_damaged_file_is_read_or_refused(
        changes in proptest::collection::vec(any::<(usize, u8, u8)>(), 0..12),
    ) {
        let good = file(&[
            "GNRMC,091011.20,A,4730.0000,S,01115.0000,W,61.3,270.5,150724,,,A",
            "GPVTG,099.9,T,,M,001.0,N,001.9,K,A",
            "GNGGA,091011.20,4730.0000,S,01115.0000,W,2,11,0.8,512.3,M,47.0,M,,",
        ]);
        let mut kept = Kept::default();
        let read = read(damaged(good.into_bytes(), &changes).as_slice(), &as_they_are(&ALL), &mut kept);
        prop_assert!(read.is_err() || !kept.times.is_empty());
    }
}
