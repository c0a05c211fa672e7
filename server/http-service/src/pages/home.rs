//! The programmes in which somebody takes part.

use actix_web::http::StatusCode;
use maud::{Markup, html};

use super::door::Visitor;
use super::words::roles;
use crate::api::programmes::{OwnProgramme, own_programmes};
use crate::desk::Answer;
use crate::office::Office;

/// The programmes of one person.
#[derive(Debug)]
pub(crate) struct HomePage {
    pub programmes: Vec<OwnProgramme>,
}

impl HomePage {
    fn body(&self) -> Markup {
        html! {
            h1 { "Your programmes" }
            @if self.programmes.is_empty() {
                p { "You take part in none yet. A test lead or safety officer lists people in their programme; an administrator of the server begins a new one." }
            }
            ul.cards {
                @for own in &self.programmes {
                    li {
                        a href={ "/programmes/" (own.id) } { (own.title) }
                        p { "You are " (roles(&own.roles)) "." }
                        @if own.stand_down { p.warn { "Stand-down in force." } }
                    }
                }
            }
        }
    }

    #[cfg(test)]
    #[allow(clippy::unwrap_used)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        use programme::codes::ProgrammeId;
        use programme::nouns::Role;
        let own = |title: &str| OwnProgramme {
            id: ProgrammeId::new("tug").unwrap(),
            title: title.to_owned(),
            roles: Role::ALL.to_vec(),
            stand_down: true,
        };
        let page = |programmes| Self { programmes }.body();
        vec![
            ("ordinary", page(vec![own("Electric glider tug")])),
            ("empty", page(Vec::new())),
            (
                "worst case",
                page((0..40).map(|_| own(&"A name as long as it may be ".repeat(7))).collect()),
            ),
        ]
    }
}

/// The page.
pub(crate) async fn show(visitor: Visitor, office: Office) -> Answer {
    let page = HomePage { programmes: own_programmes(&office, &visitor.handle) };
    Ok(visitor.around("Your programmes").reply(StatusCode::OK, page.body()))
}
