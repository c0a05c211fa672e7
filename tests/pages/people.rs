//! Who takes part, on the page of people: listed, listed anew, and gone; each refused once, and once by somebody who may not.

use super::forms::Form;
use super::{signs_in, token};
use crate::harness::Server;

const PEOPLE: &str = "/programmes/tallow/people";

#[test]
fn somebody_is_listed_with_a_medical_listed_anew_and_lets_go_without_losing_what_was_typed() {
    let server = Server::demonstration();
    let [marit, tomas] = ["marit", "tomas"].map(|handle| signs_in(&server, handle));
    let joins = || {
        Form::of(&marit.get(PEOPLE).has_status(200), "new")
            .with("handle", "nils")
            .with("name", "Nils Aske")
            .with("qualifications[1].code?", "medical")
            .with("qualifications[1].expires:moment?", "2031-03-31T00:00")
            .and("roles[]", "crew")
    };
    let without = joins().with("qualifications[1].code?", "").send(&marit).has_status(422);
    let without = without.reads("Name the qualification that ends then").reads("Nils Aske");
    assert_eq!(
        Form::of(&without, "new").has("qualifications[1].expires:moment?"),
        "2031-03-31T00:00"
    );
    joins().with("handle", "not a handle").send(&marit).has_status(422).reads("Nils Aske");
    let own = token(&tomas.get("/").has_status(200).text).to_owned();
    joins().by_another(&own).send(&tomas).has_status(403);
    let seen = tomas.get(PEOPLE).has_status(200).reads("is for");
    assert!(!seen.text.contains("form-new"), "who may not is shown no form");

    let told = joins().send(&marit).has_status(303);
    assert!(told.header("location").unwrap().starts_with(&format!("{PEOPLE}?recorded=")));
    let listed = marit
        .get(PEOPLE)
        .has_status(200)
        .reads("Nils Aske")
        .reads("datetime=\"2031-03-31T00:00:00Z\"");
    joins().send(&marit).has_status(412);

    let stale = Form::of(&marit.get(PEOPLE), "of-nils").with("name", "Nils Askeby");
    let anew = Form::of(&listed, "of-nils").with("qualifications[1].code?", "fire-watch");
    assert_eq!(anew.has("qualifications[0].code?"), "medical");
    anew.send(&marit).has_status(303);
    stale.send(&marit).has_status(412).reads("Nils Askeby");
    marit.get(PEOPLE).has_status(200).reads("fire-watch").reads("good, without end");

    // Only a safety officer gives the safety officer's role.
    let raised = Form::of(&marit.get(PEOPLE), "of-nils").and("roles[]", "safety").send(&marit);
    assert!((400..500).contains(&raised.status), "{}", raised.status);
    assert!(raised.text.contains("safety"), "{}", raised.text);
}
