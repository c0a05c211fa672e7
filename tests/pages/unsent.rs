//! A form whose sender was signed out in between: nothing is recorded, nothing is lost, and nobody sends it unseen.

use super::forms::Form;
use super::{fields, signs_in, token};
use crate::harness::{Client, Server};

const PEOPLE: &str = "/programmes/tallow/people";

fn signs_out(by: &Client) {
    let own = token(&by.get("/").has_status(200).text).to_owned();
    by.send("POST", "/sign-out", fields(&[("form.token", &own)])).has_status(303);
}

#[test]
fn what_was_typed_before_somebody_was_signed_out_is_sent_by_who_signs_in_again_and_sees_it() {
    let server = Server::demonstration();
    let marit = signs_in(&server, "marit");
    let page = marit.get(PEOPLE).has_status(200);
    let typed = || {
        Form::of(&page, "new")
            .with("handle", "nils")
            .with("name", "Nils <b>Aske</b>")
            .and("roles[]", "crew")
    };
    signs_out(&marit);

    let kept = typed().send(&marit).has_status(401).reads("Nils &lt;b&gt;Aske").reads("Sign in");
    assert_eq!(kept.header("rungbook-problem"), Some("not-signed-in"));
    assert_eq!(Form::of(&kept, "unsent").has("form.token"), "");

    let again = signs_in(&server, "marit");
    assert!(!again.get(PEOPLE).has_status(200).text.contains("Aske"), "nothing was recorded");
    let seen = Form::of(&kept, "unsent").send(&again).has_status(403).reads("Nils &lt;b&gt;Aske");
    assert!(!again.get(PEOPLE).has_status(200).text.contains("Aske"), "nor now");
    Form::of(&seen, "unsent").send(&again).has_status(303);
    again.get(PEOPLE).has_status(200).reads("Nils &lt;b&gt;Aske");

    // Somebody else at the same browser is told in whose name it would go, and may do no more than they may.
    let sofia = signs_in(&server, "sofia");
    let foreign = typed().with("handle", "olav").send(&sofia).has_status(403);
    Form::of(&foreign.reads("<strong>Sofia Brandl</strong>"), "unsent")
        .send(&sofia)
        .has_status(303);
    typed().with("handle", "tor").send(&signs_in(&server, "tomas")).has_status(403);
}

#[test]
fn a_signature_is_asked_for_again_and_its_secret_is_never_sent_back() {
    let server = Server::demonstration();
    let [sofia, kept] = ["sofia", "sofia"].map(|handle| signs_in(&server, handle));
    let point = "/programmes/tallow/points/TX-03/sign-offs";
    let form = |token: &str| {
        fields(&[("form.token", token), ("part", "release"), ("secret", "my own secret")])
    };
    let own = token(&sofia.get("/").has_status(200).text).to_owned();
    signs_out(&sofia);
    for answer in [
        sofia.send("POST", point, form(&own)).has_status(401),
        kept.send("POST", point, form(&own)).has_status(403),
    ] {
        assert!(!answer.text.contains("my own secret"), "{}", answer.text);
        assert_eq!(Form::of(&answer, "unsent").has("secret"), "");
        answer.reads("Your PIN or password");
    }
}
