//! The card: exactly what people sign.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use crate::codes::ItemCode;
use crate::nouns::{Hazard, Limit, Point};
use crate::record::Digest;

/// The versions of the items fitted.
pub type Fitted = BTreeMap<ItemCode, String>;

/// A point with everything that a signature on it stands for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Card {
    /// The point as planned.
    pub point: Arc<Point>,
    /// The limits in force, by code.
    pub limits: Vec<Arc<Limit>>,
    /// Its hazards, by code.
    pub hazards: Vec<Arc<Hazard>>,
    /// What is fitted; absent where only the plan is signed, which says itself what must be fitted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub configuration: Option<Arc<Fitted>>,
}

/// One place in which two cards differ.
#[derive(Debug, Clone, PartialEq, Serialize, utoipa::ToSchema)]
pub struct Difference {
    /// Where, such as `point.conditions.speed.target`.
    pub at: String,
    /// What stood there; absent: nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub before: Option<serde_json::Value>,
    /// What stands there now; absent: nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after: Option<serde_json::Value>,
}

impl Card {
    /// The digest that a signature names.
    ///
    /// # Errors
    ///
    /// Where a figure of the card has no JSON form; a planned point never has such a figure.
    pub fn digest(&self) -> Result<Digest, serde_json::Error> {
        Digest::of(self)
    }

    /// All places in which the other card differs from this one.
    ///
    /// # Errors
    ///
    /// As [`Card::digest`].
    pub fn differences(&self, after: &Card) -> Result<Vec<Difference>, serde_json::Error> {
        let mut found = Vec::new();
        compare("", Some(&self.by_code()?), Some(&after.by_code()?), &mut found);
        Ok(found)
    }

    /// As JSON, with limits and hazards under their codes, so that a new one does not shift the others.
    fn by_code(&self) -> Result<serde_json::Value, serde_json::Error> {
        let mut card = serde_json::to_value(self)?;
        for list in ["limits", "hazards"] {
            if let Some(serde_json::Value::Array(things)) = card.get_mut(list).map(std::mem::take) {
                let by_code = things
                    .into_iter()
                    .map(|thing| {
                        let code = thing["code"].as_str().unwrap_or_default().to_owned();
                        (code, thing)
                    })
                    .collect();
                card[list] = serde_json::Value::Object(by_code);
            }
        }
        Ok(card)
    }
}

fn compare(
    at: &str,
    before: Option<&serde_json::Value>,
    after: Option<&serde_json::Value>,
    found: &mut Vec<Difference>,
) {
    use serde_json::Value::Object;
    if before == after {
        return;
    }
    if let (Some(Object(old)), Some(Object(new))) = (before, after) {
        let keys: std::collections::BTreeSet<_> = old.keys().chain(new.keys()).collect();
        for key in keys {
            let inner = if at.is_empty() { key.clone() } else { format!("{at}.{key}") };
            compare(&inner, old.get(key), new.get(key), found);
        }
        return;
    }
    found.push(Difference { at: at.to_owned(), before: before.cloned(), after: after.cloned() });
}
