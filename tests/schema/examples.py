"""Sends the example of every operation to the demonstration, as somebody who may: what is shown has to work.

Readings have to give what they describe, with an ETag exactly where one is promised. Of acts it is asked that the example is
understood and about something that is there: as things stand in the demonstration an act can still be held (409), be about
another version (412) or be signed with another's PIN (403).
"""

import datetime
import json
import re
import sys

import requests

BASE, PEOPLE = sys.argv[1], dict(pair.split("=") for pair in sys.argv[2].split(","))
PASSWORD = "one rung at a time"
UNDERSTOOD = {200, 201, 202, 204, 403, 409, 412}


def token(handle):
    reply = requests.post(f"{BASE}/api/v1/sessions", json={"handle": handle, "password": PASSWORD}, timeout=30)
    reply.raise_for_status()
    return reply.json()["access_token"]


TOKENS = {role: token(handle) for role, handle in PEOPLE.items()}
DESCRIPTION = requests.get(f"{BASE}/api/v1/openapi.json", timeout=30).json()


# Parts of paths that lead nowhere in the demonstration.
# Examples that speak of a file which is not there, or is shorter than any that a recorder writes.
# Or of a prediction that no run has kept there.
OF_OTHER_FILES = ("day_plans_replan", "predictions_review", "intervals_take", "recordings_take", "recordings_confirm_clock", "reductions_make")
NOT_THERE = ("{interval}", "{reduction}", "{deviation}", "{link}", "{order}", "{session}", "/judged", "/clock-estimate")


def first_recording():
    """A recording that is there; none where the demonstration has none."""
    headers = {"Authorization": f"Bearer {TOKENS['viewer']}"}
    reply = requests.get(f"{BASE}/api/v1/programmes/tallow/recordings", headers=headers, timeout=30).json()
    return next((row["recording"] for row in reply["items"]), None)


RECORDING = first_recording()


def who(operation):
    """Somebody who may, preferring whoever is no administrator."""
    roles = operation.get("x-permitted-roles", ["lead"])
    by_part = operation.get("x-permitted-roles-by-part", {})
    part = body(operation)[1].get("part") if by_part else None
    roles = by_part.get(part, roles)
    return next((role for role in roles if role != "lead"), "lead")


def body(operation):
    """The media type and the example of the body, where there is one."""
    for kind, content in operation.get("requestBody", {}).get("content", {}).items():
        if "example" in content:
            return kind, content["example"]
    return None, {}


def recent(text):
    """Examples tell of a day of their own; the demonstration's past ends now. What lasts until a moment lasts a few hours yet."""
    now = datetime.datetime.now(datetime.timezone.utc)

    def moved(found):
        if found[1]:
            return found[1] + (now + datetime.timedelta(hours=4)).strftime("%Y-%m-%dT%H:%M:%SZ")
        return (now - datetime.timedelta(days=1)).strftime("%Y-%m-%d") + found[2]

    yesterday = (now - datetime.timedelta(days=1)).strftime("%Y-%m-%d")
    text = re.sub(r'("date": ")2026-\d\d-\d\d"', rf'\g<1>{yesterday}"', text)
    return re.sub(r'(until": ")?2026-\d\d-\d\d(T[\d:]+Z)', moved, text)


def send(method, path, operation, role):
    parameters = operation.get("parameters", [])
    for parameter in parameters:
        if parameter["in"] == "path":
            named = RECORDING if parameter["name"] == "recording" and RECORDING else parameter["example"]
            path = path.replace("{" + parameter["name"] + "}", str(named))
    headers = {"Authorization": f"Bearer {TOKENS[role]}"}
    kind, example = body(operation)
    if kind:
        headers["Content-Type"] = kind
    if method != "GET" and any(parameter["name"] == "If-Match" for parameter in parameters):
        headers |= version(path, headers["Authorization"])
    query = {
        parameter["name"]: parameter.get("example", parameter["schema"].get("minimum"))
        for parameter in parameters
        if parameter["in"] == "query" and parameter.get("required")
    }
    # A stream goes on for as long as it is asked to.
    if operation["operationId"] == "events_listen":
        query["lasts_s"] = 1
    text = "" if kind is None else json.dumps(example) if kind == "application/json" else example
    return requests.request(method, BASE + path, params=query, headers=headers, data=recent(text).encode(), timeout=30)


def version(path, authorization):
    """The header that says which version is changed: of what stands at the path, or else at the nearest path above it."""
    while path.count("/") > 3:
        there = requests.get(BASE + path, headers={"Authorization": authorization}, timeout=30)
        if there.status_code == 200 and "etag" in there.headers:
            return {"If-Match": there.headers["etag"]}
        if there.status_code == 404 and "no-such-path" not in there.text:
            return {}
        path = path.rpartition("/")[0]
    return {}


def wrong(method, operation, reply):
    """What is wrong with a reply to an example, if anything."""
    if method != "GET":
        # Tokens that were shown to everybody are no good.
        good = UNDERSTOOD | ({401} if operation["operationId"] == "sessions_refresh" else set())
        return None if reply.status_code in good else "is not understood"
    if reply.status_code != 200:
        return "gives nothing"
    promised = "304" in operation["responses"]
    return None if promised == ("etag" in reply.headers) else f"an ETag is {'' if promised else 'not '}promised"


def main():
    seen, faults = {}, []
    for path, item in DESCRIPTION["paths"].items():
        for method, operation in item.items():
            # Whoever signs out or changes their password cannot send the next example.
            if operation["operationId"] in ("sessions_end", "account_change_password", "accounts_end_sessions"):
                continue
            # The demonstration has none of these, or the first recording is of another run than the example names.
            if any(name in path for name in NOT_THERE) or operation["operationId"] in OF_OTHER_FILES:
                continue
            # What is called by its digest cannot be called by an example.
            if "{recording}" in path and not RECORDING:
                continue
            reply = send(method.upper(), path, operation, who(operation))
            seen[reply.status_code] = seen.get(reply.status_code, 0) + 1
            fault = wrong(method.upper(), operation, reply)
            if fault:
                faults.append(f"{method.upper()} {path}: {reply.status_code}, {fault}\n    {reply.text[:900]}")
    for fault in faults:
        print(fault)
    counts = ", ".join(f"{times} × {status}" for status, times in sorted(seen.items()))
    print(f"Examples: {sum(seen.values())} operations asked with the example that they show: {counts}.")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
