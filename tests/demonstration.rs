//! What the demonstration tells of itself.

use serde_json::Value;

use crate::harness::Server;

const TALLOW: &str = "/api/v1/programmes/tallow";

#[test]
fn its_inverter_came_first_behind_a_plate_its_motor_once_that_was_out_and_no_hold_is_left_of_it() {
    let server = Server::demonstration();
    let reader = server.sign_in_to_demonstration("viktor");
    let get = |path: &str| reader.get(&format!("{TALLOW}/{path}")).has_status(200).json();
    let heating = |run: u32| {
        let of_run = get(&format!("recordings?run={run}"))["items"].clone();
        let recording = of_run[0]["recording"].as_str().expect("a recording").to_owned();
        get(&format!("recordings/{recording}/judged?run={run}"))["heating"].clone()
    };
    let told = |run: u32| {
        let heating = heating(run);
        let text = |key: &str| heating[key].as_str().unwrap_or_default().to_owned();
        (text("outcome"), text("first"))
    };
    let is = |outcome: &str, first: &str| (outcome.to_owned(), first.to_owned());
    assert_eq!(told(12), is("out-of-order", "L-INVERTER"));
    assert_eq!(told(17), is("in-order", "L-WINDING"));
    // Nothing would be reached in the heat soak within the horizon, and the sweep had no steady load.
    assert_eq!((heating(16), heating(22)), (Value::Null, Value::Null));
    for point in ["GR-13", "TX-03", "FF-01"] {
        let rules = get(&format!("points/{point}/holds"))["holds"].clone();
        assert!(!rules.to_string().contains("heating-order"), "{point}: {rules:#}");
    }
}
