//! An example of every problem: its code and what it says.

/// Codes of problems with a sentence as it is said.
pub(super) const DETAILS: &[(&str, &str)] = &[
    ("bad-request", "The body did not arrive whole. Send the request again."),
    ("not-json", "The body is not a JSON text: expected value at line 1 column 1."),
    ("too-deep", "The body is nested more than 32 deep, which nothing here needs."),
    ("bad-query", "\"colour\" is not known here; what can be asked for is after, limit, as_of."),
    (
        "bad-header",
        "If-Match has to be an ETag as it was sent, such as \"3.0123456789abcdef\" with its quotation marks.",
    ),
    (
        "not-signed-in",
        "Sign in with POST /api/v1/sessions and send the access token as \"Authorization: Bearer …\".",
    ),
    (
        "token-refused",
        "The access token is not one of this server, or it or its session is over. Refresh it, or sign in again.",
    ),
    (
        "sign-in-refused",
        "Handle and password do not go together, or the account is disabled. Try again; an administrator can reset a password.",
    ),
    ("refresh-refused", "The session is over. Sign in again."),
    ("not-permitted", "You may not lift a stand-down: that is for safety officer."),
    ("not-administrator", "Only an administrator of the server may do that. Ask one."),
    (
        "secret-wrong",
        "This is neither your password nor your PIN, so nothing was signed. Try again.",
    ),
    ("not-found", "There is no point \"GR-99\" here. Check how it is written."),
    ("no-such-path", "There is nothing at this path. /api/v1/openapi.json describes all there is."),
    ("unknown-topic", "There is no topic \"astrology\"; the topics are atmosphere, altimetry, …."),
    ("method-not-allowed", "Only GET, PUT can be used at this path."),
    (
        "not-acceptable",
        "Data of recordings are sent as text/csv or application/vnd.apache.parquet. Accept one of them, or ask for format=csv or format=parquet.",
    ),
    ("request-timeout", "The file stopped coming. Send its beginning again."),
    ("held", "1 of the stated conditions is not met. Each hold says why, and what clears it."),
    ("programme-exists", "There is a programme \"tallow\" already. Choose another id."),
    ("account-exists", "There is an account \"ines\" already."),
    ("last-administrator", "Marit is the last administrator."),
    (
        "copy-not-acknowledged",
        "Nothing was signed: the ledger goes on from a copy of 380 records that test lead and safety officer have not both acknowledged, so what was signed since may be missing. Find out what is missing; then both acknowledge the copy.",
    ),
    ("not-yet", "The ledger has 412 records, so nothing stood as of record 500 yet."),
    (
        "not-made",
        "It is not made yet. Look at the order until its state is \"ready\", and then fetch its file.",
    ),
    (
        "too-many-orders",
        "3 of your orders wait or are being made, and nobody has more at a time. Nothing was ordered: ask again when one of them is done.",
    ),
    (
        "stale",
        "The plan of GR-02 has changed since you read it. Read it again, look at what changed, and send the change with the new ETag.",
    ),
    (
        "body-too-large",
        "The body is larger than 262144 bytes, which is the most that is read here.",
    ),
    ("unsupported-type", "The body's Content-Type has to be application/json."),
    (
        "compressed",
        "The file is packed. Unpack it and send what the recorder wrote: its digest is taken of that.",
    ),
    (
        "misdirected",
        "Nothing is served under the name of the host that was asked for. Check the address; whoever runs the server knows the right one.",
    ),
    ("invalid", "Say in a few words why."),
    ("input-refused", "Each fault names its field and what would be accepted."),
    (
        "idempotency-key-reused",
        "This Idempotency-Key was sent before, with another request. Use a new key for a new request; only a repeat of the same request has the same key.",
    ),
    (
        "if-match-required",
        "Read the plan of GR-02 first and send its ETag in If-Match, so that nobody's change is lost.",
    ),
    ("too-many-attempts", "There were too many attempts. Wait 6 s and try again."),
    ("fault", "The program failed. Nothing was recorded. Tell whoever runs it the request id."),
    (
        "not-writing",
        "The server has stopped writing: nothing was recorded. Whoever runs it looks into its log and starts it again.",
    ),
    (
        "recordings-away",
        "The server does not reach the object store in which recordings are: nothing was kept, and nothing is lost. Everything else goes on. Ask again later; if it stays so, tell whoever runs the server.",
    ),
    ("busy", "Too many people sign in or sign at once. Try again in a moment."),
    ("recording-unreadable", "The file has no column U_pack; it has time, volts, amps."),
    (
        "file-lost",
        "The columns of the recording cannot be read. Whoever runs the server runs `rungbook verify` and restores a backup.",
    ),
    (
        "disk-full",
        "The disk of the server is full: nothing was recorded. Free some space there and ask again.",
    ),
];

/// Codes with which commands answer that it is not the time: why, and what clears it.
pub(super) const COMMANDS: &[(&str, &str, &str)] = &[
    (
        "acceptance-not-needed",
        "Hazard H-FIRE is left at eliminated risk, which needs no acceptance.",
        "Nothing needs to be done.",
    ),
    (
        "already-signed",
        "You have approved the plan of GR-02 already, and nothing changed.",
        "Nothing needs to be done.",
    ),
    (
        "another-copy",
        "The copy has 380 records, not 381.",
        "Read what is told about the copy again.",
    ),
    (
        "card-changed",
        "The card of GR-02 is not what you saw: it has changed since.",
        "Read it as it is now, with what changed, and sign that.",
    ),
    (
        "changes-changed",
        "Other items have changed since run 9 than those that you named.",
        "Read the changes again, and judge all of them.",
    ),
    (
        "check-for-another-role",
        "Check C-ISO is done by engineer, and that is no role of yours.",
        "Somebody in such a role does the check. Whoever found something wrong opens a snag meanwhile.",
    ),
    (
        "clock-is-a-reference",
        "The clock of recording 77aa…01ce was held against this one.",
        "Hold the other clock against a third first.",
    ),
    (
        "clock-not-a-reference",
        "The clock of recording 3b0c…9a41 has an offset itself.",
        "Hold this clock against the one that the other was held against.",
    ),
    (
        "clock-not-behind",
        "The server's clock does not stand before what was recorded.",
        "Nothing needs to be done.",
    ),
    (
        "clocks-differ",
        "The server's clock shows 2026-05-02 08:14:00 UTC, more than two minutes from what you read.",
        "Set the server's clock right. If it is, read the other clock again and send it at once.",
    ),
    (
        "copy-acknowledged-already",
        "You have acknowledged this copy already.",
        "It takes two people: the other of test lead and safety officer acknowledges it too.",
    ),
    (
        "damping-changed",
        "Other measurements of damping are known now than those that you looked at.",
        "Read the measurements again, and judge all of them.",
    ),
    ("deviation-ended", "sofia has ended deviation 1.", "The test lead proposes anew."),
    (
        "deviation-open",
        "Deviation 1 for FL-12 waits for the safety officer.",
        "The safety officer agrees to it, or it is ended; then propose anew.",
    ),
    ("deviation-settled", "sofia has agreed to deviation 1 already.", "Nothing needs to be done."),
    (
        "deviation-void",
        "The plan of FL-12, its limits or its hazards were changed since deviation 1 was proposed, or less is shown now.",
        "The test lead proposes anew for the plan as it is now.",
    ),
    (
        "exceedance-closed",
        "Exceedance 1 is closed.",
        "Whoever sees another exceedance notes that one.",
    ),
    ("exceedance-not-explained", "Nobody has explained exceedance 1.", "An engineer explains it."),
    (
        "limits-changed",
        "Limit L-WINDING was changed while the recording was evaluated.",
        "Attach the recording again: it is evaluated by the limits as they are then.",
    ),
    (
        "moment-already-noted",
        "Power on of run 3 was noted already.",
        "A test lead or engineer corrects the times of the run, if the moment is wrong.",
    ),
    (
        "moment-out-of-order",
        "Landing cannot have been then: no take-off was noted.",
        "Note the moment before it first, or correct the times of the run.",
    ),
    (
        "no-copy",
        "This ledger does not go on from a copy that waits to be acknowledged.",
        "Nothing needs to be done.",
    ),
    (
        "no-damping-measured",
        "No damping was measured that would let SP-01 go on.",
        "Measure damping at the speeds that were shown, and reduce the recordings.",
    ),
    (
        "no-damping-step",
        "SP-01 is no step in speed that the damping is judged for.",
        "Judge a point that is flown beyond the speed shown, from the speed on that the policy names.",
    ),
    (
        "no-review-by-an-engineer",
        "No engineer has looked at the model of the temperature of L-WINDING since it was reviewed last.",
        "An engineer reviews the model first; then the safety officer looks at what was found.",
    ),
    ("no-stand-down", "No stand-down is in force.", "Nothing needs to be done."),
    (
        "no-step-to-deviate-from",
        "No step of FL-12 is larger than the build-up allows, as far as it can be signed for.",
        "Read what holds the point: a deviation lifts only a hold that a step is too large.",
    ),
    ("not-fitted", "Item hook is not fitted.", "Nothing needs to be done."),
    (
        "not-lapsed-by-a-change",
        "The result of GR-05 in run 12 did not lapse for changes of items alone.",
        "Only an accepted result that nothing but changes of items speaks against can be let stand.",
    ),
    ("not-released", "GR-02 is not released.", "The safety officer releases the point."),
    (
        "not-steady",
        "The conditions hold together for 12.4 s at most, from 2031-05-12T08:03:10+00:00 to 2031-05-12T08:03:22.4+00:00, and 30 s are wanted. Then ias left 60 kt ± 3: it was 63.8 kt at 2031-05-12T08:03:22.5+00:00.",
        "Give wider tolerances or a shorter time, or take the interval by its times.",
    ),
    (
        "nothing-assumed",
        "Nobody has said yet what a forecast rests on.",
        "The test lead gives the assumptions first: durations, working days, weather, deliveries, repeats.",
    ),
    ("nothing-changes", "The plan of GR-02 is already as given.", "Nothing needs to be done."),
    (
        "nothing-left",
        "Every point is accepted, so that there is nothing to forecast.",
        "Nothing needs to be done.",
    ),
    (
        "nothing-to-withdraw",
        "No release of GR-02 bears your signature, and you have not refused it.",
        "Whoever signed takes their own signature back.",
    ),
    (
        "one-person-two-parts",
        "You have explained exceedance 1 and so cannot close it.",
        "Another safety officer closes it.",
    ),
    (
        "point-being-run",
        "GR-02 is being run in run 3.",
        "Close the run, and change the plan afterwards.",
    ),
    ("point-dropped", "GR-02 was taken out of the plan.", "Somebody plans the point again."),
    (
        "point-not-in-run",
        "GR-02 was not planned for run 3.",
        "Record the result for a point of the run.",
    ),
    (
        "programme-changed",
        "The programme changed while the day was planned.",
        "Ask for the plan again.",
    ),
    (
        "proposal-of-another",
        "Proposal 2 was made by tomas.",
        "tomas withdraws it, or the safety officer declines it.",
    ),
    (
        "proposal-open",
        "Proposal 2 for limit L-WINDING waits for the safety officer.",
        "The safety officer agrees to it or declines it, or its proposer withdraws it; then propose anew.",
    ),
    (
        "proposal-outdated",
        "Limit L-WINDING is not what it was when proposal 2 was made.",
        "Decline the proposal; an engineer proposes anew against the limit as it is now.",
    ),
    ("proposal-settled", "Proposal 2 is agreed already.", "An engineer proposes anew."),
    (
        "recording-known",
        "pelle has taken in the same file as \"run 3.csv\": recording 3b0c…9a41.",
        "Nothing needs to be done: attach that recording to its run.",
    ),
    (
        "recording-not-attached",
        "Recording 3b0c…9a41 is not attached to run 3.",
        "An engineer or the test lead attaches it to the run.",
    ),
    (
        "recording-outside-run",
        "Recording 3b0c…9a41 goes from 2031-05-12T06:01:10Z to 2031-05-12T06:31:09Z, and run 3 went from 2031-05-12T08:00:00Z to 2031-05-12T08:20:00Z.",
        "Attach it to the run that it is of, correct the times of the run, or confirm the offset of the recorder's clock.",
    ),
    (
        "recording-set-aside",
        "tomas has set recording 3b0c…9a41 aside: the file of another aircraft.",
        "Take the file in once more, if it counts after all, or take another recording.",
    ),
    (
        "reduction-not-repeatable",
        "Reduction 4 does not say how it was made.",
        "Make it anew of an interval.",
    ),
    (
        "residual-risk-not-judged",
        "The risk that is left of hazard H-FIRE was not judged.",
        "Severity and probability of H-FIRE after mitigations are recorded.",
    ),
    (
        "risk-matrix-missing",
        "Without a risk matrix the level of hazard H-FIRE is unknown.",
        "The test lead sets the programme's policy with its matrix.",
    ),
    (
        "run-closed",
        "Run 3 is closed.",
        "A test lead or engineer corrects its times, where they are wrong.",
    ),
    (
        "run-open",
        "The configuration cannot change while run 3 is open.",
        "Close the run, and change the configuration afterwards.",
    ),
    (
        "run-unfinished",
        "Run 3 is not over: power off is missing.",
        "Note what is missing, with the moment at which it was seen.",
    ),
    ("snag-closed", "Snag 4 is closed.", "Whoever finds it again opens a new snag."),
    (
        "snag-not-worked",
        "Nobody has recorded work on snag 4, which grounds.",
        "Whoever works on it records what was done; then an engineer who is another person closes it.",
    ),
    (
        "stand-down-called-since",
        "A stand-down is in force that you have not named: record 88.",
        "Read why it was called, and name it with the others.",
    ),
    ("stopped", "The planning of the day was stopped before it was finished.", "Ask again."),
];
