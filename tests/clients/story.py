"""From a plan to hours, by the client that openapi-python-client makes of the description.

    python story.py BASE

Every request is a function of that client, every body and reply one of its types.
"""

import datetime
import sys

from rungbook_client.api.checks import checks_report
from rungbook_client.api.hours import hours_read
from rungbook_client.api.points import points_holds, points_plan, points_read
from rungbook_client.api.results import results_record
from rungbook_client.api.runs import runs_close, runs_note_moment, runs_open
from rungbook_client.api.sessions import sessions_begin
from rungbook_client.api.sign_offs import sign_offs_sign
from rungbook_client.client import AuthenticatedClient, Client
from rungbook_client.models import (
    AcknowledgementSignedSignOff,
    AcknowledgementSignedSignOffPart,
    CheckReport,
    ClosingTerms,
    CompletedHours,
    Comparison,
    CrewMember,
    Criterion,
    EngineeringAcceptanceSignedSignOff,
    EngineeringAcceptanceSignedSignOffPart,
    HoldsView,
    MomentTerms,
    NewResult,
    Phase,
    PlanApprovalSignedSignOff,
    PlanApprovalSignedSignOffPart,
    Point,
    PointState,
    Problem,
    ReleaseSignedSignOff,
    ReleaseSignedSignOffPart,
    Role,
    RunEvent,
    RunTerms,
    Rung,
    SafetyAcceptanceSignedSignOff,
    SafetyAcceptanceSignedSignOffPart,
    SignIn,
    Statistic,
    Tokens,
    TypedValue,
    Unit,
    WrittenCheckWithStanding,
    WrittenResult,
    WrittenRun,
    WrittenRung,
    WrittenSignedOff,
)

PASSWORD = "a long password for stories"
PROGRAMME, POINT = "small", "GR-03"

base = sys.argv[1]


def signed_in(handle: str) -> AuthenticatedClient:
    tokens = sessions_begin.sync(client=Client(base_url=base), body=SignIn(handle=handle, password=PASSWORD))
    assert isinstance(tokens, Tokens), tokens
    return AuthenticatedClient(base_url=base, token=tokens.access_token, raise_on_unexpected_status=True)


refused = sessions_begin.sync(client=Client(base_url=base), body=SignIn(handle="lea", password="not the password"))
assert isinstance(refused, Problem) and refused.code == "sign-in-refused", refused
cas, eve, lea, pip, sam = (signed_in(handle) for handle in ("cas", "eve", "lea", "pip", "sam"))


def held() -> set[str]:
    view = points_holds.sync(PROGRAMME, POINT, client=lea)
    assert isinstance(view, HoldsView), view
    assert all(hold.why and hold.clears for hold in view.holds)
    return {hold.rule for hold in view.holds}


def digest(of: AuthenticatedClient, part: str) -> str:
    """What somebody sees who is about to sign a part."""
    rung = points_read.sync(PROGRAMME, POINT, client=of)
    assert isinstance(rung, Rung), rung
    (found,) = (it for it in rung.to_sign.parts if it.part == part)
    assert isinstance(found.digest, str), found
    return found.digest


Signed = (
    PlanApprovalSignedSignOff
    | ReleaseSignedSignOff
    | AcknowledgementSignedSignOff
    | EngineeringAcceptanceSignedSignOff
    | SafetyAcceptanceSignedSignOff
)


def sign(of: AuthenticatedClient, body: Signed) -> WrittenSignedOff:
    signed = sign_offs_sign.sync(PROGRAMME, POINT, client=of, body=body)
    assert isinstance(signed, WrittenSignedOff), signed
    return signed


# The lead plans a point, and nothing of it can go ahead yet.
plan = Point(
    code=POINT,
    title="Third run",
    phase=Phase.GROUND_RUN,
    objective="Show that it turns for long.",
    technique="Run up to 10 kW and hold it.",
    duration_min=10.0,
    energy_kwh=1.0,
    most_on_board=1,
    stop_criteria=["Smoke."],
    criteria=[
        Criterion(
            parameter="motor_temp",
            statistic=Statistic.MAX,
            comparison=Comparison.AT_MOST,
            value=60.0,
            unit=Unit.DEGC,
        )
    ],
)
planned = points_plan.sync_detailed(PROGRAMME, POINT, client=lea, body=plan, if_none_match="*")
assert isinstance(planned.parsed, WrittenRung) and planned.status_code == 201, planned
assert planned.headers["ETag"]
again = points_plan.sync(PROGRAMME, POINT, client=lea, body=plan, if_none_match="*")
assert isinstance(again, Problem) and again.status == 412, again
assert {"plan-not-approved", "release-missing"} <= held(), held()

# Its conditions are met: the check, the approval, the release by the safety officer and by nobody else, the card.
checked = checks_report.sync(
    PROGRAMME, "C-ISO", client=cas, body=CheckReport(passed=True, findings="2.1 MΩ at 500 V.")
)
assert isinstance(checked, WrittenCheckWithStanding), checked
sign(
    eve,
    PlanApprovalSignedSignOff(
        part=PlanApprovalSignedSignOffPart.PLAN_APPROVAL, digest=digest(eve, "plan-approval"), secret=PASSWORD
    ),
)
release = ReleaseSignedSignOff(
    part=ReleaseSignedSignOffPart.RELEASE,
    digest=digest(sam, "release"),
    secret=PASSWORD,
    valid_until=datetime.datetime.now(datetime.UTC) + datetime.timedelta(hours=8),
)
barred = sign_offs_sign.sync(PROGRAMME, POINT, client=lea, body=release)
assert isinstance(barred, Problem) and barred.code == "not-permitted", barred
assert barred.allowed == [Role.SAFETY], barred
sign(sam, release)
sign(
    pip,
    AcknowledgementSignedSignOff(
        part=AcknowledgementSignedSignOffPart.ACKNOWLEDGEMENT, digest=digest(pip, "acknowledgement"), secret=PASSWORD
    ),
)
assert not held(), held()

# The run, with its moments.
crew = [CrewMember(person="pip", role=Role.PILOT, on_board=True)]
opened = runs_open.sync(
    PROGRAMME, client=lea, body=RunTerms(points=[POINT], crew=crew), idempotency_key="the-run-of-the-day"
)
assert isinstance(opened, WrittenRun), opened
run = opened.now.run
repeated = runs_open.sync_detailed(
    PROGRAMME, client=lea, body=RunTerms(points=[POINT], crew=crew), idempotency_key="the-run-of-the-day"
)
assert repeated.headers["Idempotency-Replayed"] == "true", repeated
for event in (RunEvent.POWER_ON, RunEvent.POWER_OFF):
    noted = runs_note_moment.sync(PROGRAMME, run, client=pip, body=MomentTerms(event=event))
    assert isinstance(noted, WrittenRun), noted
closed = runs_close.sync(PROGRAMME, run, client=lea, body=ClosingTerms(debrief="All as on the card."))
assert isinstance(closed, WrittenRun), closed

# What it showed, and the two signatures that make it count.
recorded = results_record.sync(
    PROGRAMME,
    run,
    client=pip,
    body=NewResult(
        point=POINT,
        observations="Smooth.",
        values=[TypedValue(parameter="motor_temp", statistic=Statistic.MAX, value=55.0, unit=Unit.DEGC)],
    ),
)
assert isinstance(recorded, WrittenResult), recorded
sign(
    eve,
    EngineeringAcceptanceSignedSignOff(
        part=EngineeringAcceptanceSignedSignOffPart.ENGINEERING_ACCEPTANCE,
        run=run,
        digest=digest(eve, "engineering-acceptance"),
        secret=PASSWORD,
    ),
)
accepted = sign(
    sam,
    SafetyAcceptanceSignedSignOff(
        part=SafetyAcceptanceSignedSignOffPart.SAFETY_ACCEPTANCE,
        run=run,
        digest=digest(sam, "safety-acceptance"),
        secret=PASSWORD,
    ),
)
assert [it.kind for it in accepted.records] == ["part-signed"], accepted
rung = points_read.sync(PROGRAMME, POINT, client=lea)
assert isinstance(rung, Rung) and rung.state is PointState.ACCEPTED, rung

# The hours have it, to the whole minute.
hours = hours_read.sync(PROGRAMME, client=lea)
assert isinstance(hours, CompletedHours), hours
assert hours.totals.runs == 1 and not hours.incomplete, hours
assert [it.person for it in hours.by_person] == ["pip"], hours
print(f"Python: planned, released, run, accepted; run {run} is in the hours")
