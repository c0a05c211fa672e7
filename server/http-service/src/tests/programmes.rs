//! Programmes, who sees them, and their ledger.

use programme::ledger::{NodeHash, consistency_holds, inclusion_holds};

use super::*;

async fn founded(house: &House) -> String {
    house.account("ada", false).await;
    house.account("brook", false).await;
    let keeper = house.token("keeper").await;
    let body =
        json!({ "id": "tug", "title": "Electric glider tug", "lead": "ada", "safety": "brook" });
    let ask = || {
        house.post("/api/v1/programmes").token(&keeper).header("idempotency-key", "f").json(&body)
    };
    let founded = ask().answer().await.has_status(201);
    assert_eq!(founded.header("location"), "/api/v1/programmes/tug");
    let told = founded.json();
    assert_eq!(told["records"].as_array().unwrap().len(), 3);
    assert_eq!(told["now"]["title"], "Electric glider tug");
    let again = ask().answer().await.has_status(201);
    assert_eq!(again.json(), told, "the same key founds nothing again");
    keeper
}

#[actix_web::test]
async fn a_programme_in_which_somebody_has_no_role_is_to_them_as_if_it_were_not_there() {
    let house = House::new().await;
    let keeper = founded(&house).await;
    let ada = house.token("ada").await;
    house.get("/api/v1/programmes/tug").token(&ada).answer().await.has_status(200);
    let hidden = house.get("/api/v1/programmes/tug").token(&keeper).answer().await;
    let hidden = hidden.is_problem(404, "not-found");
    let absent = house.get("/api/v1/programmes/none").token(&keeper).answer().await;
    let absent = absent.is_problem(404, "not-found");
    let told = |problem: &Value| problem["detail"].as_str().unwrap().replace("none", "tug");
    assert_eq!(told(&hidden), told(&absent));
    house
        .get("/api/v1/programmes/no%20code")
        .token(&ada)
        .answer()
        .await
        .is_problem(404, "not-found");

    let own = house.get("/api/v1/programmes").token(&ada).answer().await.json();
    assert_eq!(own["items"][0]["roles"], json!(["lead"]));
    let none = house.get("/api/v1/programmes").token(&keeper).answer().await.json();
    assert_eq!(none["items"], json!([]));
}

#[actix_web::test]
async fn a_programme_begins_with_two_people_who_have_accounts() {
    let house = House::new().await;
    house.account("ada", false).await;
    let keeper = house.token("keeper").await;
    let body = json!({ "id": "tug", "title": " ", "lead": "ada", "safety": "nobody" });
    let refused = house.post("/api/v1/programmes").token(&keeper).json(&body).answer().await;
    let problem = refused.is_problem(422, "invalid");
    assert_eq!(problem["faults"].as_array().unwrap().len(), 2, "{problem}");
    let body = json!({ "id": "tug", "title": "Tug", "lead": "ada", "safety": "ada" });
    house
        .post("/api/v1/programmes")
        .token(&keeper)
        .json(&body)
        .answer()
        .await
        .is_problem(422, "invalid");
    let ada = house.token("ada").await;
    house
        .post("/api/v1/programmes")
        .token(&ada)
        .json(&body)
        .answer()
        .await
        .is_problem(403, "not-administrator");
}

#[actix_web::test]
async fn the_ledger_can_be_read_and_checked_without_trusting_the_server() {
    let house = House::new().await;
    founded(&house).await;
    let ada = house.token("ada").await;
    let get = |path: &str| house.get(&format!("/api/v1/programmes/tug/ledger{path}")).token(&ada);
    let hash = |value: &Value| -> NodeHash { value.as_str().unwrap().parse().unwrap() };
    let hashes =
        |value: &Value| -> Vec<NodeHash> { value.as_array().unwrap().iter().map(hash).collect() };

    let head = get("").answer().await.has_status(200).json();
    assert_eq!(head["size"], 3);
    let page = get("/records?limit=2").answer().await.has_status(200).json();
    assert_eq!(page["items"].as_array().unwrap().len(), 2);
    assert_eq!(page["next"], "/api/v1/programmes/tug/ledger/records?after=2&limit=2");
    let record = get("/records/2").answer().await.has_status(200).json();
    assert_eq!(record["entry"]["kind"], "person-listed");
    get("/records/4").answer().await.is_problem(404, "not-found");
    get("/records/0").answer().await.is_problem(404, "not-found");

    let proof = get("/inclusion?seq=2").answer().await.has_status(200).json();
    let text = serde_json_text(&house, 2).await;
    let leaf = programme::ledger::leaf_hash(text.as_bytes());
    assert!(inclusion_holds(leaf, 1, 3, &hashes(&proof["proof"]), hash(&head["root"])));
    get("/inclusion?seq=4").answer().await.is_problem(400, "bad-query");

    let grown = get("/consistency?first=1&second=3").answer().await.has_status(200).json();
    assert!(consistency_holds(
        1,
        3,
        &hashes(&grown["proof"]),
        hash(&grown["first"]["root"]),
        hash(&head["root"])
    ));
    get("/consistency?first=3&second=2").answer().await.is_problem(400, "bad-query");
}

async fn serde_json_text(house: &House, seq: u64) -> String {
    let programme = programme::codes::ProgrammeId::new("tug").unwrap();
    house.store.entries(&programme, seq - 1, 1).await.unwrap().remove(0).text
}

#[actix_web::test]
async fn a_programme_can_be_read_as_it_stood() {
    let house = House::new().await;
    founded(&house).await;
    let ada = house.token("ada").await;
    let get = |query: &str| house.get(&format!("/api/v1/programmes/tug{query}")).token(&ada);
    let then = get("?as_of=1").answer().await.has_status(200).json();
    assert_eq!(then["records"], 1);
    let before = get("?as_of=2026-05-02T07:00:00Z").answer().await.has_status(200).json();
    assert_eq!(before["records"], 0);
    get("?as_of=99").answer().await.is_problem(409, "not-yet");
    get("?as_of=yesterday").answer().await.is_problem(400, "bad-query");
}
