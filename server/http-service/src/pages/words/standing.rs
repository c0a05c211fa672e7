//! Where points and results stand, by word and by shape, so that colour is never needed.

use maud::{Markup, PreEscaped, html};

use crate::api::points::PointState;
use crate::api::results::ResultStanding;

/// Every state, in the order in which pages explain them.
pub(crate) const STATES: [PointState; 9] = [
    PointState::Accepted,
    PointState::AwaitingAcceptance,
    PointState::InRun,
    PointState::Released,
    PointState::Ready,
    PointState::Held,
    PointState::NotMet,
    PointState::Lapsed,
    PointState::Dropped,
];

/// Where a point stands, in words.
pub(crate) const fn word_of_state(state: PointState) -> &'static str {
    match state {
        PointState::Dropped => "dropped",
        PointState::Accepted => "accepted",
        PointState::InRun => "in the open run",
        PointState::AwaitingAcceptance => "awaits acceptance",
        PointState::Released => "released",
        PointState::Lapsed => "lapsed",
        PointState::NotMet => "not met",
        PointState::Ready => "ready for release",
        PointState::Held => "held",
    }
}

/// The class by which the style sheet knows a state.
const fn class(state: PointState) -> &'static str {
    match state {
        PointState::Dropped => "dropped",
        PointState::Accepted => "accepted",
        PointState::InRun => "in-run",
        PointState::AwaitingAcceptance => "awaiting",
        PointState::Released => "released",
        PointState::Lapsed => "lapsed",
        PointState::NotMet => "not-met",
        PointState::Ready => "ready",
        PointState::Held => "held",
    }
}

/// The shape of a state, 16 by 16: a filled disc with a tick is accepted, a half-filled one waits for its acceptances, an
/// arrow is released, two rings are in the run, an open ring is ready, a barred square is held, a cross is not met, a broken
/// ring has lapsed, and a dash was dropped.
const fn path(state: PointState) -> &'static str {
    match state {
        PointState::Accepted => {
            r#"<circle cx="8" cy="8" r="7" class="f"/><path d="M4.5 8.3l2.4 2.5 4.6-5" class="k"/>"#
        }
        PointState::AwaitingAcceptance => {
            r#"<circle cx="8" cy="8" r="6.2" class="o"/><path d="M8 1.8a6.2 6.2 0 0 0 0 12.4z" class="f"/>"#
        }
        PointState::Released => r#"<path d="M3 2l10.5 6L3 14z" class="f"/>"#,
        PointState::InRun => {
            r#"<circle cx="8" cy="8" r="6.4" class="o"/><circle cx="8" cy="8" r="2.8" class="f"/>"#
        }
        PointState::Ready => r#"<circle cx="8" cy="8" r="6.2" class="o"/>"#,
        PointState::Held => {
            r#"<rect x="1.8" y="1.8" width="12.4" height="12.4" class="o"/><path d="M4 8h8" class="o"/>"#
        }
        PointState::NotMet => r#"<path d="M3 3l10 10M13 3L3 13" class="o"/>"#,
        PointState::Lapsed => {
            r#"<circle cx="8" cy="8" r="6.2" class="o" stroke-dasharray="4 2.5"/>"#
        }
        PointState::Dropped => r#"<path d="M3 8h10" class="o"/>"#,
    }
}

/// The shapes of all states, once for a page whose pictures have many of them: they refer to these by [`mark_of_symbol`].
pub(crate) fn symbols() -> Markup {
    html! {
        svg.for-ears aria-hidden="true" {
            @for state in STATES {
                symbol id={ "mark-" (class(state)) } viewBox="0 0 16 16" { (PreEscaped(path(state))) }
            }
        }
    }
}

/// The shape of a state in a picture, beside its word.
pub(crate) fn mark_of_symbol(state: PointState) -> Markup {
    html! { use href={ "#mark-" (class(state)) } x="10" y="9" width="16" height="16" {} }
}

/// The shape of a state alone.
fn mark(state: PointState) -> Markup {
    html! {
        svg.state-mark viewBox="0 0 16 16" width="16" height="16" aria-hidden="true" { (PreEscaped(path(state))) }
    }
}

/// Where a point stands: its shape and its word.
pub(crate) fn state_word(state: PointState) -> Markup {
    html! { span class={ "state " (class(state)) } { (mark(state)) (word_of_state(state)) } }
}

/// Whether a result counts, in words.
pub(crate) const fn result_word(standing: ResultStanding) -> &'static str {
    match standing {
        ResultStanding::Open => "met, awaits acceptance",
        ResultStanding::NotMet => "not met, or something is missing",
        ResultStanding::Accepted => "accepted",
        ResultStanding::Lapsed => "accepted, and does not stand any more",
        ResultStanding::Replaced => "recorded anew since",
    }
}
