//! Whole files through the reader.

use proptest::prelude::*;

use super::*;
use crate::format::trial::{Kept, as_they_are, damaged};

const ALL: [&str; 4] = ["latitude", "longitude", "elevation", "speed"];

fn gpx(points: &str) -> String {
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<gpx version=\"1.1\" creator=\"invented\" \
         xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><trkseg>\n{points}</trkseg></trk></gpx>\n"
    )
}

fn point(inside: &str) -> String {
    format!("<trkpt lat=\"47.5\" lon=\"-11.25\">{inside}</trkpt>\n")
}

fn read_as(file: &str, names: &[&str]) -> Result<(Kept, PassedOver), Unreadable> {
    let mut kept = Kept::default();
    let passed_over = read(file.as_bytes(), &as_they_are(names), &mut kept)?;
    Ok((kept, passed_over))
}

fn kept(points: &str) -> Kept {
    read_as(&gpx(points), &ALL).expect("a file that can be read").0
}

fn why(file: &str) -> String {
    read_as(file, &ALL).map(|(kept, _)| kept.rows()).expect_err("unreadable").to_string()
}

fn micros(text: &str) -> i64 {
    text.parse::<chrono::DateTime<chrono::Utc>>().expect("a moment").timestamp_micros()
}

const TIME: &str = "<time>2024-07-15T09:10:11Z</time>";

#[test]
fn a_point_has_its_position_and_what_stands_in_it() {
    let kept = kept(
        &[
            point(&format!("<ele>512.5</ele>{TIME}")),
            point(
                "<time>2024-07-15T11:10:12.25+02:00</time><extensions><a:TrackPointExtension>\
             <a:speed> 21.5 </a:speed><a:time>no</a:time></a:TrackPointExtension></extensions>",
            ),
            point("<speed><![CDATA[20]]></speed><time>2024-07-15T09:10:13</time><name>x</name>"),
            "<trkpt lat='-1e1' lon='180'><time>2024-07-15T09:10:14Z</time><ele/></trkpt>\n"
                .to_owned(),
        ]
        .concat(),
    );

    let first = micros("2024-07-15T09:10:11Z");
    let at = (Some(47.5), Some(-11.25));
    assert_eq!(
        kept.rows(),
        [
            (first, vec![at.0, at.1, Some(512.5), None]),
            (first + 1_250_000, vec![at.0, at.1, None, Some(21.5)]),
            (first + 2_000_000, vec![at.0, at.1, None, Some(20.0)]),
            (first + 3_000_000, vec![Some(-10.0), Some(180.0), None, None]),
        ]
    );
    assert_eq!(kept.lines, [3, 4, 5, 6]);
    assert!(kept.refused.is_empty());
}

#[test]
fn a_point_without_one_moment_is_refused() {
    let kept = kept(
        &[
            point(TIME),
            point("<ele>1</ele>"),
            point("<time>yesterday</time>"),
            point(&format!("{TIME}{TIME}")),
            point("<time>2024-02-30T09:10:11Z</time>"),
            point("<time>2024-07-15&#84;09:10:11Z</time>"),
            "<trkpt lat=\"47.5\" lon=\"11.25\"/>\n".to_owned(),
        ]
        .concat(),
    );

    assert_eq!(kept.times.len(), 1);
    let column = None;
    assert_eq!(
        kept.refusals(),
        [
            (4, column, "", Rule::NotAMoment),
            (5, column, "yesterday", Rule::NotAMoment),
            (6, column, "two moments in one point", Rule::NotAMoment),
            (7, column, "2024-02-30T09:10:11Z", Rule::NotAMoment),
            (8, column, "2024-07-1509:10:11Z", Rule::NotAMoment),
            (9, column, "", Rule::NotAMoment),
        ]
    );
}

#[test]
fn cells_that_are_no_figures_are_refused_with_what_stands_there() {
    let kept = kept(&[
        "<trkpt lat=\"90.1\" lon=\"-180.1\"><time>2024-07-15T09:10:11Z</time><ele>1,5</ele></trkpt>\n"
            .to_owned(),
        format!("<trkpt lat=\"x\">{TIME}<ele>INF</ele><speed>1</speed><speed>2</speed></trkpt>\n"),
        point(&format!("{TIME}<ele>1&amp;</ele><speed><b>3</b></speed>")),
        point(&format!("{TIME}<ele>{}1</ele><speed>1e999</speed>", "0".repeat(80))),
    ]
    .concat());

    assert_eq!(
        kept.refusals(),
        [
            (3, Some("latitude"), "90.1", Rule::AboveHighest),
            (3, Some("longitude"), "-180.1", Rule::BelowLowest),
            (3, Some("elevation"), "1,5", Rule::NotANumber),
            (4, Some("latitude"), "x", Rule::NotANumber),
            (4, Some("longitude"), "", Rule::Damaged),
            (4, Some("elevation"), "INF", Rule::NotFinite),
            (4, Some("speed"), "2", Rule::TimeDoubled),
            (5, Some("elevation"), "1", Rule::NotANumber),
            (5, Some("speed"), "3", Rule::NotANumber),
            (6, Some("elevation"), "0".repeat(40).as_str(), Rule::NotANumber),
            (6, Some("speed"), "1e999", Rule::NotFinite),
        ]
    );
    assert_eq!(kept.rows()[1].1, [None, None, None, Some(1.0)]);
}

#[test]
fn a_position_stands_up_to_the_pole_and_the_date_line() {
    let kept = kept(&format!(
        "<trkpt lat=\"90\" lon=\"-180\">{TIME}</trkpt><trkpt lat=\"-90\" lon=\"180\">{TIME}</trkpt>"
    ));
    assert_eq!(kept.columns[0], [90.0, -90.0]);
    assert_eq!(kept.columns[1], [-180.0, 180.0]);
    assert!(kept.refused.is_empty());
}

#[test]
fn other_points_are_counted() {
    let file = format!(
        "<gpx><wpt lat=\"1\" lon=\"1\">{TIME}</wpt><rte><rtept lat=\"1\" lon=\"1\"/><rtept/></rte>\
         <trk><trkseg>{}</trkseg></trk></gpx>",
        point(TIME)
    );

    let (kept, passed_over) = read_as(&file, &ALL).expect("reads");

    assert_eq!(kept.times.len(), 1);
    let kinds: Vec<_> = passed_over.kinds().collect();
    assert_eq!(kinds, [("route points", 2), ("way points", 1)]);
}

#[test]
fn a_file_that_ends_in_the_middle_gives_its_whole_points_and_tells_its_end() {
    let whole = gpx(&[point(TIME), point(TIME)].concat());
    for cut in [whole.len() - 4, whole.find("</trkseg>").expect("an end"), 215] {
        let (kept, _) = read_as(&whole[..cut], &ALL).expect("reads");
        assert!(!kept.times.is_empty());
        let refused = kept.refusals();
        assert_eq!(refused.len(), 1, "{refused:?}");
        assert_eq!(
            (refused[0].2, refused[0].3),
            ("the file ends inside an element", Rule::Damaged)
        );
    }
}

#[test]
fn a_file_that_is_not_gpx_says_why() {
    assert!(why("<kml><trkpt/></kml>").contains("root is not gpx"));
    assert!(why("<gpx></gpx><gpx></gpx>").contains("root is not gpx"));
    assert!(why("<gpx><trk></gpx>").contains("not well-formed"));
    let bomb = "<!DOCTYPE gpx [<!ENTITY a \"aaaa\"><!ENTITY b \"&a;&a;\">]><gpx>&b;</gpx>";
    assert!(why(bomb).contains("document type declaration"));
    assert!(why(&gpx(&format!("<trkpt>{}</trkpt>", point(TIME)))).contains("inside another"));
    let latin = [b"<gpx><trk><name>\xE9</name></trk></gpx>".as_slice()].concat();
    let told = read(latin.as_slice(), &as_they_are(&ALL), &mut Kept::default());
    assert!(told.expect_err("unreadable").to_string().contains("UTF-8"));
    assert!(why("plain words").contains("root is not gpx"));
    for nothing in ["", "<gpx/>"] {
        assert!(matches!(read_as(nothing, &ALL), Err(Unreadable::NoRows)), "{nothing}");
    }
    assert!(matches!(read_as("<gpx/>", &["height"]), Err(Unreadable::NoSuchColumns { .. })));
}

#[test]
fn depth_is_taken_up_to_32_elements() {
    let nested = |depth: usize| {
        let (open, close) = ("<e>".repeat(depth), "</e>".repeat(depth));
        // gpx, trk and trkseg are three.
        gpx(&format!("{}{open}{close}", point(TIME)))
    };
    assert!(read_as(&nested(29), &ALL).is_ok());
    assert!(matches!(read_as(&nested(30), &ALL), Err(Unreadable::TooMuch { most: 32, .. })));
}

#[test]
fn a_tag_a_text_or_a_comment_without_end_is_refused_before_it_fills_the_memory() {
    for beginning in ["<gpx><!--", "<gpx>", "<gpx a=\"", "<gpx><![CDATA[", "<?", ""] {
        let endless = beginning.as_bytes().chain(std::io::repeat(b'x'));
        let refused = read(endless, &as_they_are(&ALL), &mut Kept::default());
        assert!(matches!(refused, Err(Unreadable::TooMuch { line: 1, .. })), "{beginning}");
    }
}

#[test]
fn a_text_in_endless_pieces_is_refused_and_not_kept() {
    let pieces = format!("<time>{}</time>", "2024&amp;".repeat(100_000));
    let kept = kept(&[point(&pieces), point(TIME)].concat());
    assert_eq!(kept.times.len(), 1);
    assert_eq!(kept.refused[0].rule, Rule::NotAMoment);
}

#[test]
fn a_file_offers_the_columns_that_have_a_figure() {
    let offered =
        fields(gpx(&point(&format!("{TIME}<speed>1</speed>"))).as_bytes()).expect("reads");

    let names: Vec<_> = offered.iter().map(|field| field.name.as_str()).collect();
    assert_eq!(names, ["latitude", "longitude", "speed"]);
    assert_eq!(offered[2].unit.as_deref(), Some("m/s"));
    assert!(fields("<kml/>".as_bytes()).is_err());
}

proptest! {
    #[test]
    fn a_figure_written_in_full_comes_back_as_it_was(
        latitude in -90.0..=90.0_f64,
        elevation in -1e4..1e5_f64,
    ) {
        let file = gpx(&format!("<trkpt lat=\"{latitude}\" lon=\"0\">{TIME}<ele>{elevation}</ele></trkpt>"));
        let (kept, _) = read_as(&file, &ALL).expect("reads");
        prop_assert_eq!((kept.columns[0][0], kept.columns[2][0]), (latitude, elevation));
    }

    #[test]
    fn random_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
        let begun = [b"<gpx><trk><trkseg>".as_slice(), &bytes].concat();
        for file in [bytes, begun] {
            let mut kept = Kept::default();
            let read = read(file.as_slice(), &as_they_are(&ALL), &mut kept);
            prop_assert!(read.is_err() || !kept.times.is_empty());
        }
    }

    #[test]
    fn a_damaged_file_is_read_or_refused(
        changes in proptest::collection::vec(any::<(usize, u8, u8)>(), 0..12),
    ) {
        let inside = format!("<ele>512.5</ele>{TIME}<extensions><a:speed>21.5</a:speed></extensions>");
        let good = gpx(&point(&inside).repeat(3));
        let mut kept = Kept::default();
        let read = read(damaged(good.into_bytes(), &changes).as_slice(), &as_they_are(&ALL), &mut kept);
        prop_assert!(read.is_err() || !kept.times.is_empty());
    }
}
