//! The demonstration's programme in a service, and the people who take part in it.

use std::collections::HashMap;

use super::*;

/// The demonstration's document.
pub(crate) const DOCUMENT: &str = include_str!("../../../../seed/programme.toml");

const AT: &str = "/api/v1/programmes/tug";

/// A service with the demonstration's programme, as it is before anything was signed.
pub(crate) struct Tug {
    pub house: House,
    tokens: HashMap<&'static str, String>,
}

impl Tug {
    /// With these people signed in.
    pub async fn with(people: &[&'static str]) -> Self {
        let house = House::new().await;
        for handle in ["marit", "jonas", "ines", "sofia", "tomas", "pelle", "ruth", "viktor"] {
            house.account(handle, false).await;
        }
        let keeper = house.token("keeper").await;
        let body = json!({
            "id": "tug", "title": "Tallowmere electric tug", "lead": "marit", "safety": "sofia",
        });
        house.post("/api/v1/programmes").token(&keeper).json(&body).answer().await.has_status(201);
        let mut tokens = HashMap::from([("marit", house.token("marit").await)]);
        for person in people.iter().filter(|person| **person != "marit") {
            tokens.insert(person, house.token(person).await);
        }
        let tug = Self { house, tokens };
        let document = tug.ask("marit", House::post, "/document");
        document.bytes("application/toml", DOCUMENT).answer().await.has_status(200);
        tug
    }

    /// A request of a person about the programme.
    pub fn ask<'a>(
        &'a self,
        who: &str,
        how: fn(&'a House, &str) -> Ask<'a>,
        path: &str,
    ) -> Ask<'a> {
        how(&self.house, &format!("{AT}{path}")).token(&self.tokens[who])
    }

    /// Reads something, and gives the reply.
    pub async fn get(&self, who: &str, path: &str) -> Answer {
        self.ask(who, House::get, path).answer().await
    }

    /// Reads something that is there.
    pub async fn read(&self, path: &str) -> Value {
        self.get("marit", path).await.has_status(200).json()
    }

    /// Posts something.
    pub async fn post(&self, who: &str, path: &str, body: Value) -> Answer {
        self.ask(who, House::post, path).json(&body).answer().await
    }

    /// Puts something, at the version that stands there now, if any.
    pub async fn put(&self, who: &str, path: &str, body: Value) -> Answer {
        let present = self.get(who, path).await;
        let ask = self.ask(who, House::put, path).json(&body);
        match present.header("etag") {
            "" => ask.answer().await,
            tag => ask.header("if-match", tag).answer().await,
        }
    }
}

/// The rows of a list.
pub(crate) fn rows(page: &Value) -> &Vec<Value> {
    page["items"].as_array().unwrap()
}
