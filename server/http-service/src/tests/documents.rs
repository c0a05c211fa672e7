//! The programme's document and its points' spreadsheet, over HTTP.

use super::tug::{DOCUMENT, Tug};
use super::*;

fn fields(problem: &Value) -> Vec<&str> {
    let faults = problem["faults"].as_array().unwrap();
    faults.iter().map(|fault| fault["field"].as_str().unwrap()).collect()
}

fn points_of(document: &str) -> usize {
    programme::document::read_toml(document).unwrap().points.len()
}

#[actix_web::test]
async fn a_document_is_given_back_as_it_was_taken_in_and_taken_in_again_changes_nothing() {
    let tug = Tug::with(&["viktor"]).await;
    let given = tug.get("viktor", "/document").await.has_status(200);
    assert_eq!(given.header("content-type"), "application/toml");
    let text = String::from_utf8(given.body.clone()).unwrap();
    let read = |text: &str| programme::document::read_toml(text).unwrap();
    assert_eq!(read(&text).points, read(DOCUMENT).points);
    let known = tug.ask("viktor", House::get, "/document");
    known.header("if-none-match", given.header("etag")).answer().await.has_status(304);

    let import = |kind: &'static str, text: String| {
        tug.ask("marit", House::post, "/document").bytes(kind, text)
    };
    let again = import("application/toml", text).answer().await.has_status(200).json();
    assert_eq!(again["records"], json!([]));
    assert_eq!(again["now"]["points"], points_of(DOCUMENT));
    import("text/plain", String::new()).answer().await.is_problem(415, "unsupported-type");
    let viktor = tug.ask("viktor", House::post, "/document").bytes("application/toml", "");
    viktor.answer().await.is_problem(403, "not-permitted");
}

#[actix_web::test]
async fn every_fault_of_a_document_is_told_with_line_and_field_and_nothing_is_imported() {
    let tug = Tug::with(&[]).await;
    let import = |text: Vec<u8>| {
        tug.ask("marit", House::post, "/document").bytes("application/toml", text).answer()
    };
    let text = "[[channels]]\ncode = \"new one\"\ntitle = \"\"\nunit = \"V\"\n\n[[items]]\ncode = \"motor\"\ntitel = \"Motor\"\n";
    let faulty = import(text.into()).await.is_problem(422, "invalid");
    let fields = fields(&faulty);
    assert!(fields.contains(&"line 2, channels[0].code"), "{fields:?}");
    assert!(fields.contains(&"line 3, channels[0].title"), "{fields:?}");
    assert!(fields.contains(&"line 8, items[0].titel"), "{fields:?}");
    import("title = ".into()).await.is_problem(422, "invalid");
    import(vec![0xff, 0xfe]).await.is_problem(422, "invalid");
    let large = vec![b'#'; programme::document::LARGEST_DOCUMENT + 1];
    import(large).await.is_problem(413, "body-too-large");
    assert_eq!(tug.read("").await["counts"]["points"], points_of(DOCUMENT));
}

#[actix_web::test]
async fn points_go_to_a_spreadsheet_and_back_and_are_planned_once_under_one_key() {
    let tug = Tug::with(&[]).await;
    let given = tug.get("marit", "/points-table").await.has_status(200);
    assert_eq!(given.header("content-type"), "text/csv; charset=utf-8");
    let tag = given.header("etag").to_owned();
    let csv = String::from_utf8(given.body).unwrap();
    assert!(csv.starts_with("code,title,phase,"), "{}", &csv[..60]);

    let import = |csv: &str| {
        let ask = tug.ask("marit", House::post, "/points-table").header("idempotency-key", "one");
        ask.bytes("text/csv; charset=utf-8", csv.to_owned()).answer()
    };
    let title = &programme::document::read_toml(DOCUMENT).unwrap().points[0].title;
    let changed = csv.replacen(title, "Another title", 1);
    let planned = import(&changed).await.has_status(200);
    assert_eq!(planned.json()["records"].as_array().unwrap().len(), 1, "one point changed");
    let again = import(&changed).await.has_status(200);
    assert_eq!(again.header("idempotency-replayed"), "true");
    assert_eq!(again.json(), planned.json());
    import(&csv).await.is_problem(422, "idempotency-key-reused");
    let over = |tag: &str| {
        let ask = tug.ask("marit", House::post, "/points-table").header("if-match", tag);
        ask.bytes("text/csv", csv.clone()).answer()
    };
    over(&tag).await.is_problem(412, "stale");
    let now = tug.get("marit", "/points-table").await;
    over(now.header("etag")).await.has_status(200);

    let wrong = csv.replacen(title, "", 1);
    let wrong = tug.ask("marit", House::post, "/points-table").bytes("text/csv", wrong);
    let problem = wrong.answer().await.is_problem(422, "invalid");
    assert_eq!(fields(&problem), ["line 2, column title"]);
}
