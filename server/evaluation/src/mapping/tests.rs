#![allow(clippy::unwrap_used)]

use programme::nouns::{DecimalMark, Recorder};
use proptest::prelude::*;

use super::*;

fn channel(code: &str, title: &str, unit: Unit, range: (f64, f64)) -> Channel {
    Channel {
        code: ChannelCode::new(code).unwrap(),
        title: title.to_owned(),
        unit,
        lowest: Some(range.0),
        highest: Some(range.1),
        accuracy: None,
        derived_from: None,
    }
}

/// The channels of an invented aircraft.
fn channels() -> Vec<Channel> {
    vec![
        channel("motor_temp", "Motor winding temperature", Unit::Celsius, (-40.0, 200.0)),
        channel("cell_t_1", "Temperature of cell group 1", Unit::Celsius, (-40.0, 90.0)),
        channel("cell_t_2", "Temperature of cell group 2", Unit::Celsius, (-40.0, 90.0)),
        channel("pack_v", "Voltage of the battery", Unit::Volt, (0.0, 500.0)),
        channel("pack_a", "Current of the battery", Unit::Ampere, (-400.0, 400.0)),
        channel("ias", "Indicated airspeed", Unit::Knot, (0.0, 200.0)),
    ]
}

fn look(text: &str) -> Proposal {
    let sheet = Sheet::of(text.as_bytes(), Known::default()).unwrap();
    of_rows(&sheet, channels().iter())
}

/// Column and channel of the draft.
fn mapped(proposal: &Proposal) -> Vec<(&str, &str)> {
    let columns = proposal.recorder.columns.iter();
    columns.map(|it| (it.column.as_str(), it.channel.as_str())).collect()
}

fn time_of(proposal: &Proposal) -> (&str, TimeForm) {
    let time = proposal.time.first().unwrap();
    (&time.column, time.form)
}

#[test]
fn semicolons_a_decimal_comma_a_mark_of_byte_order_and_a_row_of_units_are_found() {
    let text = "\u{feff}Zeit;U_pack;Motor_Temp\r\n;V;°C\r\n2026-05-02T09:04:40,000Z;371,2;41,5\r\n\
                2026-05-02T09:04:41,000Z;371,0;41,75\r\n2026-05-02T09:04:42,000Z;3";
    let seen = look(text);
    assert_eq!((seen.delimiter, seen.decimal), (Some(';'), Some(DecimalMark::Comma)));
    assert_eq!((seen.header_line, seen.unit_row), (Some(1), Some(true)));
    assert_eq!(time_of(&seen), ("Zeit", TimeForm::Iso8601));
    assert_eq!(seen.time[0].first_row.unwrap().to_rfc3339(), "2026-05-02T09:04:40+00:00");
    assert_eq!(mapped(&seen), [("U_pack", "pack_v"), ("Motor_Temp", "motor_temp")]);
    // The last line may go on, so its figure is not one.
    assert_eq!((seen.columns[1].least, seen.columns[1].greatest), (Some(371.0), Some(371.2)));
    assert_eq!(seen.columns[2].unit_text.as_deref(), Some("°C"));
}

#[test]
fn lines_before_the_header_quotes_tabs_and_units_in_brackets_are_found() {
    let text = "Logger 3\nserial\t17\n\n\"Elapsed (s)\"\t\"Motor temp [°F]\"\t\"Airspeed, indicated [km/h]\"\n\
                0\t104\t80\n0.1\t105.8\t90\n0.2\t106\t95\n";
    let seen = look(text);
    assert_eq!((seen.delimiter, seen.header_line), (Some('\t'), Some(4)));
    assert_eq!(seen.unit_row, Some(false));
    assert_eq!(time_of(&seen), ("Elapsed (s)", TimeForm::SecondsSinceStart));
    assert_eq!(seen.time[0].first_row, None);
    let columns = &seen.recorder.columns;
    assert_eq!(
        (columns[0].column.as_str(), columns[0].unit),
        ("Motor temp [°F]", Unit::Fahrenheit)
    );
    assert_eq!(columns[0].channel.as_str(), "motor_temp");
    assert_eq!(seen.columns[2].may_be[0].channel.as_str(), "ias");
    assert_eq!(seen.columns[2].unit, Some(Unit::KilometrePerHour));
}

#[test]
fn moments_in_each_form_are_told_apart() {
    let form = |cells: [&str; 2]| {
        let text = format!("time,pack_v\n{},370\n{},371\n", cells[0], cells[1]);
        time_of(&look(&text)).1
    };
    assert_eq!(form(["2026-05-02T09:04:40Z", "2026-05-02T09:04:41Z"]), TimeForm::Iso8601);
    assert_eq!(form(["2026-05-02 09:04:40", "2026-05-02 09:04:41"]), TimeForm::Iso8601Utc);
    assert_eq!(form(["1777712680.5", "1777712680.6"]), TimeForm::UnixS);
    assert_eq!(form(["1777712680500", "1777712680600"]), TimeForm::UnixMs);
    assert_eq!(form(["0.0", "0.1"]), TimeForm::SecondsSinceStart);
    assert_eq!(form(["09:04:40.0", "09:04:40.1"]), TimeForm::ClockUtc);
    assert_eq!(form(["17.05.2026 08:30:00", "17.05.2026 08:30:01"]), TimeForm::DottedDateUtc);
    let of_ms = look("time_ms,pack_v\n0,370\n100,371\n200,371\n");
    assert_eq!(time_of(&of_ms), ("time_ms", TimeForm::MillisecondsSinceStart));
    let of_row = look("time;pack_v\nms;V\n0;370\n100;371\n");
    assert_eq!(time_of(&of_row), ("time", TimeForm::MillisecondsSinceStart));
    let none = look("pack_v,pack_a\n370,12\n371,11\n");
    assert!(none.time.is_empty());
    assert!(none.gaps.iter().any(|gap| gap.starts_with("file.time")), "{:?}", none.gaps);
    let first = look("time,pack_v\n1777712680500,370\n1777712680600,371\n").time[0].first_row;
    assert_eq!(first.unwrap().timestamp_millis(), 1_777_712_680_500);
}

#[test]
fn figures_beyond_the_sensor_speak_against_a_channel_and_are_not_in_the_draft() {
    let seen = look("time_ms,pack_v,cell_t_1_c\n1777712680500,9000,20\n1777712680600,9001,21\n");
    assert_eq!(mapped(&seen), [("cell_t_1_c", "cell_t_1")]);
    let candidate = &seen.columns[1].may_be[0];
    assert_eq!(candidate.channel.as_str(), "pack_v");
    assert!(!candidate.likely);
    assert!(candidate.why.iter().any(|why| why.contains("beyond")), "{:?}", candidate.why);
}

#[test]
fn a_column_with_another_number_or_the_unit_of_another_kind_is_another_channel() {
    let seen = look("t_s,cell_t_2_c,T cell 3 (degC),pack_a (V)\n1,20,21,22\n2,20,21,22\n");
    assert_eq!(mapped(&seen), [("cell_t_2_c", "cell_t_2")]);
    let of_3 = &seen.columns[2].may_be;
    assert!(
        of_3.iter().all(|it| !it.likely || !it.channel.as_str().starts_with("cell")),
        "{of_3:?}"
    );
    assert!(seen.columns[3].may_be.iter().all(|it| it.channel.as_str() != "pack_a"));
}

#[test]
fn the_greatest_of_a_group_is_none_of_the_group() {
    let seen = look("t,T_cell_max (degC)\n1,20\n2,20\n");
    assert!(mapped(&seen).is_empty());
    let mut derived = channels();
    let mut greatest = channel("cell_t_max", "Warmest cell", Unit::Celsius, (-40.0, 90.0));
    greatest.derived_from = Some("The greatest of the cells.".to_owned());
    derived.push(greatest);
    let sheet = Sheet::of(b"t,T_cell_max (degC)\n1,20\n2,20\n", Known::default()).unwrap();
    let seen = of_rows(&sheet, derived.iter());
    assert_eq!(mapped(&seen), [("T_cell_max (degC)", "cell_t_max")]);
    assert!(seen.columns[1].may_be[0].why.iter().any(|why| why.contains("derived")));
}

#[test]
fn no_channel_is_in_the_draft_twice_and_a_name_that_is_there_twice_in_none() {
    let seen = look(
        "time,motor_temp (degC),motor temp 1 (degC),pack_v (V),pack_v (V)\n0,1,2,3,4\n1,1,2,3,4\n",
    );
    assert_eq!(mapped(&seen), [("motor_temp (degC)", "motor_temp")]);
    assert_eq!(seen.columns[3].remarks.len(), 1);
}

#[test]
fn what_is_known_is_not_looked_for() {
    let known =
        Known { delimiter: Some(','), header_line: Some(2), unit_row: Some(true), decimal: None };
    let text = b"a,b,c\nt,x,y\ns,mV,-\n0,1,2\n1,1,2\n";
    let sheet = Sheet::of(text, known).unwrap();
    assert_eq!((sheet.headers[1].as_str(), sheet.rows.len()), ("x", 2));
    assert_eq!(sheet.units.unwrap()[1], "mV");
    assert_eq!(Sheet::of(b"no cells here\nat all\n", Known::default()), None);
    assert_eq!(Sheet::of(b"", Known::default()), None);
    let far = Known { header_line: Some(99), ..Known::default() };
    assert_eq!(Sheet::of(text, far), None);
}

#[test]
fn a_draft_with_its_gaps_filled_is_a_recorder_without_fault() {
    let seen = look("time;U_pack;Motor_Temp\n;mV;°C\n0,5;371200;41\n0,6;371200;42\n");
    let mut draft = serde_json::to_value(&seen.recorder).unwrap();
    draft["code"] = "bms".into();
    draft["title"] = "Battery".into();
    let recorder: Recorder = serde_json::from_value(draft).unwrap();
    assert!(recorder.faults("").is_empty(), "{:?}", recorder.faults(""));
}

#[test]
fn fields_of_other_formats_find_their_channels_by_what_stands_behind_the_message() {
    let fields: Vec<Field> = serde_json::from_value(serde_json::json!([
        { "name": "Pack.PackVoltage", "unit": "V", "lowest": 0.0, "highest": 900.0 },
    ]))
    .unwrap();
    let file = RecorderFile::Candump { dbc: "x".to_owned() };
    let seen = of_fields(&fields, file, channels().iter());
    assert_eq!(mapped(&seen), [("Pack.PackVoltage", "pack_v")]);
}

proptest! {
    #[test]
    fn whatever_bytes_a_file_begins_with_something_or_nothing_is_found(
        bytes in proptest::collection::vec(prop_oneof![any::<u8>(), Just(b'\n'), Just(b','), Just(b'1')], 0..400),
    ) {
        if let Some(sheet) = Sheet::of(&bytes, Known::default()) {
            let found = of_rows(&sheet, channels().iter());
            prop_assert_eq!(found.columns.len(), sheet.headers.len());
        }
    }
}
