//! Points from spreadsheets.

use std::io::{Cursor, Write};

use super::*;
use crate::document::points_table::{COLUMNS, export_csv, read_csv, read_xlsx};

fn sheet() -> String {
    export_csv(&read_toml(SMALL).unwrap().points).unwrap()
}

fn told(file: &[u8]) -> Vec<(String, String)> {
    let faults = read_csv(file).unwrap_err();
    faults.into_iter().map(|fault| (fault.field, fault.why)).collect()
}

/// The sheet as a spreadsheet of another country writes it: semicolons, CRLF, a byte order mark, decimal commas.
fn with_semicolons() -> String {
    let mut reader = csv::Reader::from_reader(sheet().into_bytes().leak() as &[u8]);
    let mut writer = csv::WriterBuilder::new().delimiter(b';').from_writer(Vec::new());
    writer.write_record(reader.headers().unwrap()).unwrap();
    for record in reader.records() {
        let record = record.unwrap();
        writer
            .write_record(record.iter().map(|cell| match cell {
                "0.5" => "0,5".to_owned(),
                "0.8" => "0,8".to_owned(),
                other => other.replace("20±2 kW", "20,0±2,0 kW"),
            }))
            .unwrap();
    }
    let text = String::from_utf8(writer.into_inner().unwrap()).unwrap();
    format!("\u{feff}{}", text.replace('\n', "\r\n"))
}

#[test]
fn a_sheet_of_another_country_reads_as_the_same_points() {
    assert_eq!(
        read_csv(with_semicolons().as_bytes()).unwrap().points,
        read_toml(SMALL).unwrap().points
    );
}

#[test]
fn columns_may_stand_in_any_order_and_none_may_be_missing_or_unknown() {
    let mut records: Vec<Vec<String>> = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(sheet().as_bytes())
        .records()
        .map(|record| record.unwrap().iter().rev().map(str::to_owned).collect())
        .collect();
    let write = |records: &[Vec<String>]| {
        let mut writer = csv::Writer::from_writer(Vec::new());
        records.iter().for_each(|record| writer.write_record(record).unwrap());
        writer.into_inner().unwrap()
    };
    assert_eq!(read_csv(&write(&records)).unwrap().points.len(), 2);
    records[0][0] = "colour".to_owned();
    assert_eq!(
        told(&write(&records)).into_iter().map(|(place, _)| place).collect::<Vec<_>>(),
        ["line 1, column colour", "line 1, column sensitive_to"]
    );
}

#[test]
fn every_fault_of_a_sheet_is_told_with_its_line_and_column() {
    let text = sheet()
        .replace("GR-02", "GR 02")
        .replace("power=20±2 kW", "power=20±-2 kW; speed=5 kt")
        .replace(",0.8,", ",none,");
    let places: Vec<_> = told(text.as_bytes()).into_iter().map(|(place, _)| place).collect();
    assert_eq!(
        places,
        ["line 3, column code", "line 3, column conditions", "line 3, column energy_kwh"]
    );
}

#[test]
fn what_a_point_alone_gets_wrong_is_told_in_its_column() {
    let text = sheet().replace("power=20±2 kW", "power=20±-2 kW");
    assert_eq!(told(text.as_bytes())[0].0, "line 3, column conditions");
}

#[test]
fn a_reference_to_nothing_is_told_in_its_column() {
    let state = founded(SMALL);
    let file = sheet().replace("H-FIRE", "H-NONE").into_bytes();
    let command = ImportPoints { format: PointsFile::Csv, file };
    let refused = decide(&state, &command, &Stamp { by: person("lea"), now: now() });
    assert_eq!(faults_of(refused)[0].0, "line 3, column hazards");
}

#[test]
fn the_same_sheet_again_gives_no_record() {
    let state = founded(SMALL);
    let command = ImportPoints { format: PointsFile::Csv, file: sheet().into_bytes() };
    assert_eq!(decide(&state, &command, &Stamp { by: person("lea"), now: now() }).unwrap(), vec![]);
}

#[test]
fn a_text_that_a_spreadsheet_could_take_for_a_formula_is_written_behind_an_apostrophe() {
    let mut points = read_toml(SMALL).unwrap().points;
    points[0].title = "=1+1".to_owned();
    points[1].title = "'quoted".to_owned();
    let text = export_csv(&points).unwrap();
    assert!(text.contains(",'=1+1,"));
    assert_eq!(read_csv(text.as_bytes()).unwrap().points, points);
}

#[test]
fn text_in_another_encoding_is_refused_with_its_line() {
    let mut file = sheet().into_bytes();
    file.extend(b"\xe4\n");
    assert!(told(&file)[0].1.contains("UTF-8"));
}

/// A workbook with one sheet of texts and numbers.
fn workbook(cells: &[Vec<String>]) -> Vec<u8> {
    let mut rows = String::new();
    for (row, cells) in cells.iter().enumerate() {
        rows.push_str(&format!("<row r=\"{}\">", row + 1));
        for cell in cells {
            let escaped = cell.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
            match cell.parse::<f64>() {
                Ok(figure) => rows.push_str(&format!("<c><v>{figure}</v></c>")),
                Err(_) => {
                    rows.push_str(&format!("<c t=\"inlineStr\"><is><t>{escaped}</t></is></c>"))
                }
            }
        }
        rows.push_str("</row>");
    }
    packed(&format!(
        "<worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData>{rows}</sheetData></worksheet>"
    ))
}

fn packed(worksheet: &str) -> Vec<u8> {
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let relations = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    let parts = [
        (
            "[Content_Types].xml",
            "<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"/>"
                .to_owned(),
        ),
        (
            "_rels/.rels",
            format!(
                "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Id=\"rId1\" Type=\"{relations}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
            ),
        ),
        (
            "xl/workbook.xml",
            format!(
                "<workbook xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" xmlns:r=\"{relations}\"><sheets><sheet name=\"Points\" sheetId=\"1\" r:id=\"rId1\"/></sheets></workbook>"
            ),
        ),
        (
            "xl/_rels/workbook.xml.rels",
            format!(
                "<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Id=\"rId1\" Type=\"{relations}/worksheet\" Target=\"worksheets/sheet1.xml\"/></Relationships>"
            ),
        ),
        ("xl/worksheets/sheet1.xml", worksheet.to_owned()),
    ];
    for (name, text) in parts {
        archive.start_file(name, zip::write::SimpleFileOptions::default()).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

fn cells() -> Vec<Vec<String>> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(sheet().as_bytes())
        .records()
        .map(|record| record.unwrap().iter().map(str::to_owned).collect())
        .collect()
}

#[test]
fn a_workbook_reads_as_the_same_points() {
    assert_eq!(read_xlsx(&workbook(&cells())).unwrap().points, read_toml(SMALL).unwrap().points);
}

#[test]
fn a_fault_in_a_workbook_is_told_with_row_and_column() {
    let mut cells = cells();
    let phase = COLUMNS.iter().position(|column| *column == "phase").unwrap();
    cells[2][phase] = "flight".to_owned();
    assert_eq!(read_xlsx(&workbook(&cells)).unwrap_err()[0].field, "row 3, column phase");
}

#[test]
fn a_cell_far_out_lays_out_no_sheet_in_memory() {
    let far = "<worksheet><sheetData><row r=\"1\"><c r=\"A1\"><v>1</v></c></row><row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row></sheetData></worksheet>";
    let faults = read_xlsx(&packed(far)).unwrap_err();
    assert_eq!(faults[0].field, "row 1048576, column XFD");
}

#[test]
fn a_small_workbook_that_unfolds_into_a_huge_one_is_refused() {
    let huge = format!("<worksheet>{}</worksheet>", " ".repeat(65 * 1024 * 1024));
    let file = packed(&huge);
    assert!(file.len() < 1024 * 1024);
    assert_eq!(read_xlsx(&file).unwrap_err()[0].why, "unfolds to more than 64 MiB");
}

#[test]
fn a_sheet_that_is_far_too_long_or_too_wide_is_refused_in_a_sentence() {
    let wide = "a,".repeat(100_000);
    let told = told(wide.as_bytes());
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].0, "line 1");
    let header = sheet().lines().next().unwrap().to_owned();
    let long = format!("{header}\r\n{}", "x\r\n".repeat(MOST_POINTS + 5));
    let faults = read_csv(long.as_bytes()).unwrap_err();
    assert!(faults.len() <= 1100, "{}", faults.len());
}

#[test]
fn lines_of_nothing_but_separators_are_no_points() {
    let blank = ",".repeat(COLUMNS.len() - 1);
    let spread = sheet().replace("\r\n", &format!("\r\n{blank}\r\n"));
    assert_eq!(read_csv(spread.as_bytes()).unwrap().points.len(), 2);
}
