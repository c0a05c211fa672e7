//! Pages for people with a browser: the same acts as the API's, without a script for any of them.
//!
//! A page is a struct with what it shows, a template, and `samples` that a test renders: ordinary, empty and worst case. An
//! act that a page offers calls the handler of the API; where that refuses, the page is shown again with what was typed.

mod around;
mod assets;
mod dates;
mod door;
mod events;
mod form;
mod frame;
mod paper;
mod routes;
mod told;
mod words;

mod account;
mod briefing;
mod card;
mod changes;
mod checks;
mod configuration;
mod envelope;
mod evening;
mod evidence;
mod exceedance;
mod forecast;
mod hazards;
mod home;
mod hours;
mod interval;
mod ladder;
mod ledger;
mod overview;
mod past;
mod people;
mod plot;
mod point;
mod predictions;
mod progress;
mod recorders;
mod recording;
mod recordings;
mod result;
mod run;
mod runs;
mod sign_in;
mod snags;
mod stand_down;
mod today;
mod tomorrow;
mod unsent;

use actix_web::HttpResponse;
use actix_web::http::header::LOCATION;

pub(crate) use frame::is_page;
pub(crate) use routes::register;

/// Leads the browser on to a place of ours.
fn led_to(place: &str) -> HttpResponse {
    HttpResponse::SeeOther().insert_header((LOCATION, place)).finish()
}

#[cfg(test)]
mod tests;
