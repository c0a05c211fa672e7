//! Which topic of the public rules each part of a draft speaks to.
//!
//! A paragraph is numbered only where its text was seen, and the source that was seen is named beside it. Everything else is a
//! topic in words.

use crate::manuscript::{Blocks, column};

/// A part of a paper, the topic that it speaks to, and where the topic was seen.
pub(crate) type Answers = (&'static str, &'static str, &'static str);

/// 14 CFR 91.319 and 91.305.
const CFR: &str = "14 CFR part 91 as printed by the U.S. Government Publishing Office (section 91.319 in the edition of 2001, both sections in a public copy of a later edition)";
/// The advisory circular's topics; its paragraphs were not seen.
const AC: &str = "FAA AC 90-89, as announced by its editions A (1995) and B (2015); topics only, no paragraph was seen";
/// The dossier of experimental conditions.
const CAP: &str = "UK CAA CAP 1220, edition 2 (2019), list of contents";
/// Flight conditions of a permit to fly.
const FLIGHT_CONDITIONS: &str =
    "statement on EASA Form 18B as published by a national authority; no paragraph number was seen";
/// An operating limitation that owners quote.
const QUOTED: &str = "operating limitation of experimental certificates as owners quote it in public; its present wording was not seen";

/// Of the flight-test programme.
pub(crate) const FLIGHT_TEST_PROGRAMME: &[Answers] = &[
    (
        "Where it is tested",
        "14 CFR 91.305: flight tests over open water or sparsely populated areas with light air traffic",
        CFR,
    ),
    (
        "Where it is tested; papers in force",
        "14 CFR 91.319(b): within the assigned area until the aircraft is shown to be controllable and without hazardous characteristics",
        CFR,
    ),
    (
        "Points, phase by phase",
        "a flight-test plan that accounts for the hours of the test phase",
        AC,
    ),
    ("Points, phase by phase", "flight test programme (part C of the dossier)", CAP),
    ("Where it is tested", "flight test areas (chapter 10)", CAP),
    ("People and qualifications", "pilot qualifications (chapter 11)", CAP),
    ("Build-up; stop criteria on each card", "flight test safety (chapter 12)", CAP),
    (
        "Points, phase by phase",
        "the specific flight test programme, where there is one",
        FLIGHT_CONDITIONS,
    ),
    (
        "People and qualifications",
        "conditions and restrictions put on the flight crew",
        FLIGHT_CONDITIONS,
    ),
    (
        "Where it is tested",
        "conditions or restrictions put on itineraries or airspace",
        FLIGHT_CONDITIONS,
    ),
];

/// Of the risk register.
pub(crate) const RISK_REGISTER: &[Answers] = &[
    ("Hazards one by one; accepted risk", "risk assessment (part D of the dossier)", CAP),
    ("Mitigation of each hazard", "flight test safety (chapter 12)", CAP),
    (
        "Hazards one by one",
        "14 CFR 91.319(b)(2): no hazardous operating characteristics or design features, to be shown by the tests",
        CFR,
    ),
    ("Mitigation of each hazard", "emergency plans and precautions before and during tests", AC),
    (
        "Mitigation of each hazard",
        "operating limitations, specific procedures or technical conditions to be met",
        FLIGHT_CONDITIONS,
    ),
];

/// Of the configuration and limitations statement.
pub(crate) const CONFIGURATION: &[Answers] = &[
    ("Aircraft; items fitted", "aircraft design and build (part B of the dossier)", CAP),
    ("Limits and their sources; loading", "operating conditions and limitations (chapter 13)", CAP),
    (
        "Items fitted; changes of the configuration",
        "the method by which the configuration is kept within the established conditions",
        FLIGHT_CONDITIONS,
    ),
    (
        "Limits and their sources; loading",
        "operating limitations, specific procedures or technical conditions to be met",
        FLIGHT_CONDITIONS,
    ),
    (
        "Checks",
        "continuing airworthiness arrangements with maintenance instructions",
        FLIGHT_CONDITIONS,
    ),
    ("Papers in force", "14 CFR 91.319: operating limitations of the certificate", CFR),
    ("Loading; limits and their sources", "weight and balance, and limits before first flight", AC),
];

/// Of the closing statement.
pub(crate) const CLOSING: &[Answers] = &[
    (
        "Shown envelope; results",
        "14 CFR 91.319(b)(1): controllable throughout its normal range of speeds and the manoeuvres to be executed",
        CFR,
    ),
    (
        "Open matters",
        "14 CFR 91.319(b)(2): no hazardous operating characteristics or design features",
        CFR,
    ),
    ("Hours", "completion of the prescribed hours in the flight test area", QUOTED),
    (
        "Demonstrated speeds",
        "stall, best-angle and best-rate speed, with weight and centre of gravity at which each was obtained",
        QUOTED,
    ),
    ("Hours; demonstrated speeds", "keeping performance data and hours of the test phase", AC),
    ("Statements to be signed", "14 CFR 91.305: where the tests were flown", CFR),
];

/// Of the log entries.
pub(crate) const LOG: &[Answers] = &[
    ("Runs", "flight documentation (chapter 14)", CAP),
    (
        "Runs; changes of the configuration",
        "records of each test and of what was changed between tests",
        AC,
    ),
    (
        "Checks; snags",
        "continuing airworthiness arrangements with maintenance instructions",
        FLIGHT_CONDITIONS,
    ),
    ("Runs", "the hours that a later statement of compliance with 14 CFR 91.319(b) rests on", CFR),
];

/// The table, and the advice that the authority's text rules.
pub(crate) fn requirements(answers: &[Answers], out: &mut Blocks) {
    out.chapter("Which topic of the public rules each part speaks to");
    out.note(
        "This table helps to find things. It shows no compliance: which rules apply, and what satisfies them, is for the authority, \
         whose current text rules. Read it before signing; what is named here may have changed since.",
    );
    out.table(
        [
            column("Part of this paper", 1.4),
            column("Requirement or topic", 2.4),
            column("Where it was seen", 2.2),
        ],
        answers.iter().map(|(part, topic, source)| [*part, *topic, *source].map(str::to_owned)),
        "",
    );
}
