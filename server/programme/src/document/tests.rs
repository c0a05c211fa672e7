//! Documents read, checked, imported and given back.

#![allow(clippy::unwrap_used, clippy::panic)]

use super::*;

fn told(text: &str) -> Vec<(String, String)> {
    read_toml(text).unwrap_err().into_iter().map(|fault| (fault.field, fault.why)).collect()
}

#[test]
fn probe() {
    let text = r#"
title = "T"
wrong = 1

[aircraft]
name = "Tug"
seats = 300
description = "x"
never_exceed_speed = { value = 130, unit = "kn" }
loading = [ { name = "a", mass = { value = 1, unit = "kg" } }, { name = "b", arm = 1, mass = { value = 1, unit = "kg" } } ]

[policy]
weather_good_for_min = 45
longest_release_h = 12
[policy.risk]
source = "MIL"
rows = [["high","hihg","high","serious","medium","eliminated"],["high"]]

[[documents]]
code = "P"
title = "permit"
kind = "permit"
valid_from = 2026-01-01T00:00:00Z
valid_until = 2026-01-01
covers = ["static", "groundrun", "taxi", "air"]

[[limits]]
code = "L 1"
title = ""
channel = "t"
unit = "degC"
is = { kind = "maximum", limt = 3 }
phases = []

[[points]]
code = "A"
titel = "x"
phase = "static"
conditions = { speed = { target = "5", unit = "kt" }, spead = { target = 1, tolerance = 1, unit = "kt" } }
criteria = [{ parameter = "t" }, { parameter = "t", statistic = "max", comparison = "at-most", value = 1, unit = "degC", foo = 1 }]
most_on_board = -1
"#;
    for (field, why) in told(text) { println!("{field}: {why}"); }
    for (field, why) in told("a = [\nb = 3\n\n[[x]\n") { println!("{field}: {why}"); }
}
