//! One's own account: the PIN, the password, and where one is signed in.

use super::forms::Form;
use super::{browser, fields, signs_in, token};
use crate::harness::{Client, DEMONSTRATION_PASSWORD, Server};

const ACCOUNT: &str = "/account";
const ANOTHER: &str = "wet grass and warm cells";

fn sign_ins(of: &Client) -> usize {
    of.get(ACCOUNT).has_status(200).text.matches("<li><p>Since ").count()
}

fn signs_in_with(server: &Server, handle: &str, password: &str) -> u16 {
    let form = fields(&[("to", "/"), ("handle", handle), ("password", password)]);
    browser(server).send("POST", "/sign-in", form).status
}

#[test]
fn people_set_their_pin_and_take_it_away_and_what_was_typed_is_never_shown_again() {
    let server = Server::demonstration();
    let ines = signs_in(&server, "ines");
    ines.get("/").has_status(200).reads("href=\"/account\"");
    let page = ines.get(ACCOUNT).has_status(200).reads("You have a PIN");
    let gone = Form::of(&page, "pin-removal").send(&ines).has_status(303);
    let page = ines.get(gone.header("location").unwrap()).reads("was taken away");
    let page = page.reads("You have no PIN.");
    let set = |pin: &str, password: &str| {
        Form::of(&page, "pin").with("pin", pin).with("secret", password).send(&ines)
    };
    for (pin, password, status) in
        [("123456", DEMONSTRATION_PASSWORD, 422), ("480213", "not my password", 403), ("", "", 403)]
    {
        let refused = set(pin, password).has_status(status).reads("You have no PIN.");
        for typed in [pin, password].into_iter().filter(|it| !it.is_empty()) {
            assert!(!refused.text.contains(&format!("value=\"{typed}")), "{typed} is shown again");
        }
    }
    let done = set("480213", DEMONSTRATION_PASSWORD).has_status(303);
    let page = ines.get(done.header("location").unwrap()).has_status(200);
    page.reads("Your PIN is set.").reads("You have a PIN");
    ines.get("/account?done=everything").has_status(400);
}

#[test]
fn a_changed_password_ends_every_sign_in_and_opens_the_door_alone() {
    let server = Server::demonstration();
    let [here, elsewhere] = ["ines", "ines"].map(|handle| signs_in(&server, handle));
    let page = here.get(ACCOUNT).has_status(200);
    let change = |present: &str, new: &str| {
        let form = Form::of(&page, "password").with("secret", present);
        form.with("new_password", new).send(&here)
    };
    let short = change(DEMONSTRATION_PASSWORD, "too short").has_status(422);
    assert!(!short.text.contains("too short\""), "what was typed is shown again");
    change("not my password", ANOTHER).has_status(403);
    let changed = change(DEMONSTRATION_PASSWORD, ANOTHER).has_status(303);
    here.get(changed.header("location").unwrap()).has_status(200).reads("sign in with the new one");
    for gone in [&here, &elsewhere] {
        gone.get(ACCOUNT).has_status(303);
    }
    // A form of before goes nowhere, and no page keeps what it holds.
    let late = change(ANOTHER, "another long password").has_status(401);
    assert!(!late.text.contains("another long password"), "{}", late.text);
    assert_eq!(signs_in_with(&server, "ines", DEMONSTRATION_PASSWORD), 401);
    assert_eq!(signs_in_with(&server, "ines", ANOTHER), 303);
}

#[test]
fn people_see_where_they_are_signed_in_and_end_what_is_not_here() {
    let server = Server::demonstration();
    let [here, phone] = ["ines", "ines"].map(|handle| signs_in(&server, handle));
    let other = signs_in(&server, "viktor");
    let page = here.get(ACCOUNT).has_status(200).reads("<strong>this one</strong>");
    assert_eq!(sign_ins(&here), 2);
    let session = page.text.split("name=\"session\" value=\"").nth(1).expect("another sign-in");
    let session = session.split('"').next().unwrap().to_owned();
    let end = |by: &Client, session: &str| {
        let own = token(&by.get(ACCOUNT).has_status(200).text).to_owned();
        let form = fields(&[("form.token", &own), ("form.name", "end"), ("session", session)]);
        by.send("POST", "/account/sign-ins", form)
    };
    end(&other, &session).has_status(404);
    end(&here, "mine").has_status(404);
    phone.get(ACCOUNT).has_status(200);
    end(&here, &session).has_status(303);
    phone.get(ACCOUNT).has_status(303);
    assert_eq!(sign_ins(&here), 1);
    // The same form from a page that was open before tells why it does nothing any more.
    let late = Form::of(&page, &format!("end-{session}")).send(&here).has_status(404);
    late.reads("role=\"alert\"").reads("sign-in");

    // Whoever signs in again in the same browser leaves nothing behind.
    let form = fields(&[("to", "/"), ("handle", "ines"), ("password", DEMONSTRATION_PASSWORD)]);
    let again = here.send("POST", "/sign-in", form).has_status(303);
    let cookie = again.header("set-cookie").unwrap().split(';').next().unwrap().to_owned();
    here.get(ACCOUNT).has_status(303);
    assert_eq!(sign_ins(&browser(&server).with("cookie", &cookie)), 1);
}
