//! Who may ask for an operation: in words for people, and as fields for programs.
//!
//! `x-permitted` is `anyone`, `signed-in`, `administrator` or `roles`; then `x-permitted-roles` lists the roles of a
//! programme that may, and `x-permitted-roles-by-part`, where the body says which part is signed, those that may sign each.

use programme::nouns::Role;
use programme::people::Act;
use serde_json::{Value, json};
use utoipa::openapi::extensions::ExtensionsBuilder;
use utoipa::openapi::path::Operation as Note;

use crate::access::Who;
use crate::api::sign_offs::PartName;

/// Says who may in a note's description and extensions.
pub(super) fn tell(note: &mut Note, module: &str, who: Who) {
    let signs_parts = module == "sign_offs";
    let (permitted, sentence) = match who {
        Who::Anyone => ("anyone", "For anybody, also without signing in.".to_owned()),
        Who::SignedIn => ("signed-in", "For anybody who is signed in.".to_owned()),
        Who::Administrator => ("administrator", "For administrators of the server.".to_owned()),
        Who::To(_) if signs_parts => ("roles", by_part()),
        Who::To(act) => ("roles", format!("For {}.", act.allowed_in_words())),
    };
    note.description = Some(match note.description.take() {
        Some(said) if !said.is_empty() => format!("{said}\n\n{sentence}"),
        _ => sentence,
    });
    let mut extensions = ExtensionsBuilder::new().add("x-permitted", permitted);
    if let Who::To(act) = who {
        extensions = extensions.add("x-permitted-roles", roles(act, signs_parts));
    }
    if signs_parts {
        let parts = PartName::ALL.map(|part| (written(part), json!(part.act().allowed())));
        extensions = extensions.add("x-permitted-roles-by-part", Value::from_iter(parts));
    }
    note.extensions.get_or_insert_default().merge(extensions.build());
}

/// The roles that may, in the order of all roles.
fn roles(act: Act, signs_parts: bool) -> Value {
    let may = |role: &Role| {
        if signs_parts {
            PartName::ALL.iter().any(|part| part.act().allowed().contains(role))
        } else {
            act.allowed().contains(role)
        }
    };
    json!(Role::ALL.iter().filter(|role| may(role)).collect::<Vec<_>>())
}

fn by_part() -> String {
    let each: Vec<String> = PartName::ALL
        .iter()
        .map(|part| format!("`{}` for {}", written(*part), part.act().allowed_in_words()))
        .collect();
    format!("Who may depends on the part: {}.", each.join("; "))
}

fn written(part: PartName) -> String {
    json!(part).as_str().unwrap_or_default().to_owned()
}
