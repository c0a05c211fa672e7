//! The test card: exactly what people sign, on the page of a point and on paper, A5, one point a card.

mod shown;

use actix_web::http::StatusCode;
use maud::{Markup, html};
use programme::codes::{PointCode, RunNumber};

pub(crate) use shown::CardShown;

use super::around::Section;
use super::door::Member;
use super::paper::MadeFrom;
use crate::access::Read;
use crate::api::points::rung;
use crate::desk::{Answer, View};
use crate::given::{At, Number};
use crate::office::Office;
use crate::problem::Problem;

/// Cards for paper: of one point, or of a run.
#[derive(Debug, Clone)]
pub(crate) struct CardsPage {
    /// Where one goes back to.
    pub back: String,
    pub of: String,
    pub programme: String,
    pub cards: Vec<CardShown>,
    pub made_from: MadeFrom,
}

impl CardsPage {
    fn body(&self) -> Markup {
        html! {
            div.screen {
                p { a href=(self.back) { "Back to " (self.of) } }
                h1 { @if self.cards.len() == 1 { "Test card" } @else { "Test cards of " (self.of) } }
                p { "One A5 page or more a card. Print them from your browser, with its own headers and footers off." }
                p { button type="button" data-print hidden { "Print" } }
            }
            @if self.cards.is_empty() { p { "There is no card to print." } }
            @for (place, card) in self.cards.iter().enumerate() {
                article.sheet {
                    p.sheet-head {
                        span { (self.programme) }
                        span { "Card " (place + 1) " of " (self.cards.len()) }
                    }
                    h2 { (card.code) " · " (card.title) }
                    (card.on_paper())
                    p.sheet-foot {
                        "Digest of this card " code { (card.digest) } ". "
                        (self.made_from.told())
                    }
                }
            }
        }
    }

    #[cfg(test)]
    pub fn samples() -> Vec<(&'static str, Markup)> {
        let page = |cards| Self {
            back: "/programmes/tug".to_owned(),
            of: "run 3".to_owned(),
            programme: "Electric glider tug".to_owned(),
            cards,
            made_from: MadeFrom::sample(),
        };
        vec![
            ("ordinary", page(vec![CardShown::sample(3)]).body()),
            ("empty", page(Vec::new()).body()),
            ("worst case", page(vec![CardShown::sample(60); 12]).body()),
        ]
    }
}

async fn page(
    office: &Office,
    member: &Member<Read>,
    (back, of): (String, String),
    points: impl FnOnce(View<'_>) -> Result<Vec<PointCode>, Problem>,
) -> Answer {
    let page = member
        .look(office, |view| {
            let cards = points(view)?
                .iter()
                .map(|code| CardShown::of(view.state, rung(view.state, code)?))
                .collect::<Result<_, Problem>>()?;
            let programme = view.state.title.clone();
            let made_from = MadeFrom::of(view);
            Ok(CardsPage { back, of, programme, cards, made_from })
        })
        .await?;
    let made_from = page.made_from.rooted(office, &member.programme.id);
    let page = CardsPage { made_from, ..page };
    Ok(member.around("Test card", Section::None).keeps().reply(StatusCode::OK, page.body()))
}

/// The card of a point as it stands now.
pub(crate) async fn of_point(member: Member<Read>, point: At<PointCode>, office: Office) -> Answer {
    let back = (member.place(&format!("/points/{}", *point)), point.to_string());
    page(&office, &member, back, |view| Ok(vec![rung(view.state, &point)?.point.code.clone()]))
        .await
}

/// The cards of a run's points as they stand now, in their order.
pub(crate) async fn of_run(
    member: Member<Read>,
    run: At<Number<RunNumber>>,
    office: Office,
) -> Answer {
    let run = run.0.0;
    let back = (member.place(&format!("/runs/{run}")), format!("run {run}"));
    page(&office, &member, back, |view| {
        let known = view.state.run(run).ok_or_else(|| Problem::unknown("run", run))?;
        Ok(known.points.clone())
    })
    .await
}
