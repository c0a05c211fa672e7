//! What comes next for a point, and where: so that nobody who stands before its page has to guess.

use maud::{Markup, html};

use super::shown::PointPage;
use super::signing::{in_words, written};
use crate::api::points::PointState;
use crate::api::results::ResultStanding;

impl PointPage {
    /// What the visitor can sign, or else who signs next, or where its run is opened and its result accepted.
    pub(super) fn next(&self) -> Markup {
        let unsigned = || self.parts.iter().filter(|part| part.signed_by.is_none());
        let mine = unsigned().find(|part| part.permitted && part.holds.is_empty());
        let waiting = self.results.iter().find(|it| it.standing == ResultStanding::Open);
        html! {
            @if let Some(part) = mine {
                p { strong { "Yours to sign now: " } a href={ "#" (written(part.part)) } { (in_words(part.part)) } }
            } @else if let Some(result) = waiting {
                p { strong { "Next: " } "two people accept the " a href={ (self.place) "/runs/" (result.run) "/results/" (self.card.code) } { "result of run " (result.run) } "." }
            } @else {
                @match self.state {
                    PointState::InRun => { p { strong { "Next: " } "the run is closed and its result recorded. " a href={ (self.place) "/runs" } { "Runs" } } }
                    PointState::Accepted | PointState::Dropped | PointState::AwaitingAcceptance => {}
                    PointState::Held | PointState::Ready | PointState::Released | PointState::Lapsed | PointState::NotMet => {
                        @if let Some(part) = unsigned().next() {
                            p { strong { "Next signature: " } (in_words(part.part)) ", by " (part.roles) "." }
                        } @else if self.holds.is_empty() {
                            p { strong { "Next: " } a href={ (self.place) "/runs" } { "open a run with it" } "." }
                        }
                    }
                }
            }
        }
    }
}
