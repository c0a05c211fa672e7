"""Reads the demonstration's dates by a private link, and holds them against the API by PyPI's icalendar.

    python check_calendar.py --program PATH

Every line is folded as RFC 5545 has it (3.1: no more than 75 octets, and never inside of a character, which decoding each line
by itself shows); every moment is in UTC; keys are unique; planned days, due checks, ends of documents and of qualifications are
those that the API tells; and a check that is done again moves its entry, with a greater SEQUENCE.
"""

import argparse
import datetime
import re
import subprocess
import sys

import icalendar
import requests

PASSWORD = "one rung at a time"


def events(base, path):
    reply = requests.get(f"{base}{path}", timeout=30)
    reply.raise_for_status()
    assert reply.headers["Content-Type"].startswith("text/calendar"), reply.headers
    assert reply.content.endswith(b"\r\n")
    for line in reply.content.split(b"\r\n"):
        assert len(line) <= 75 and b"\n" not in line and b"\r" not in line, line
        line.decode("utf-8")
    calendar = icalendar.Calendar.from_ical(reply.content)
    assert calendar["VERSION"] == "2.0" and calendar["PRODID"], calendar
    found = {}
    for event in calendar.walk("VEVENT"):
        assert event["UID"] not in found, event["UID"]
        assert isinstance(event["SEQUENCE"], int) and "DTSTAMP" in event and event["SUMMARY"], event
        for name in ("DTSTAMP", "DTSTART", "DTEND"):
            if name in event:
                assert event[name].dt.utcoffset() == datetime.timedelta(0), event[name]
        found[event["UID"].split("@")[0]] = event
    return found


def moment(text):
    return datetime.datetime.fromisoformat(text.replace("Z", "+00:00")).replace(microsecond=0)


def check(base):
    def signed_in(handle):
        entry = requests.post(f"{base}/api/v1/sessions", json={"handle": handle, "password": PASSWORD}, timeout=30)
        asks = requests.Session()
        asks.headers["Authorization"] = f"Bearer {entry.json()['access_token']}"
        return asks

    at = f"{base}/api/v1/programmes/tallow"
    lead, crew = signed_in("marit"), signed_in("pelle")
    every = lambda what: lead.get(f"{at}/{what}?limit=500", timeout=30).json()["items"]
    made = lead.put(f"{at}/calendar-link", timeout=30)
    made.raise_for_status()
    path = made.json()["path"]
    found = events(base, path)

    plans = every("day-plans")
    replaced = {plan.get("replaces") for plan in plans}
    standing = [plan for plan in plans if plan["plan"] not in replaced]
    days = [event for key, event in found.items() if key.startswith("day-")]
    assert len(days) == len(standing) and standing, (days, standing)
    assert all(event["STATUS"] == "TENTATIVE" and event["DTEND"].dt > event["DTSTART"].dt for event in days)

    ends = {}
    for document in every("documents"):
        document = document.get("document", document)
        if document.get("valid_until") and document.get("reference"):
            ends[f"document-{document['code']}"] = document["valid_until"]
    for person in every("people"):
        person = person.get("person", person)
        for held in person.get("qualifications", []) if person.get("roles") else []:
            if held.get("expires"):
                ends[f"qualification-{person['handle']}-{held['code']}"] = held["expires"]
    now = datetime.datetime.now(datetime.timezone.utc)
    recent = {key: moment(text) for key, text in ends.items() if now - moment(text) < datetime.timedelta(days=60)}
    assert recent, "the demonstration has papers and qualifications that end"
    for key, end in recent.items():
        assert found[key]["DTSTART"].dt == end, (key, end, found[key])
    assert {key for key in found if key.startswith(("document-", "qualification-"))} == set(recent)

    # A check that is done again moves, under the same key.
    checks = [view.get("check", view) for view in every("checks")]
    timed = next(it for it in checks if f"check-{it['code']}" in found and "crew" in it["by"])
    key = f"check-{timed['code']}"
    report = {"passed": True, "findings": "As it should be."}
    crew.post(f"{at}/checks/{timed['code']}/done", json=report, timeout=30).raise_for_status()
    after = events(base, path)
    assert after[key]["UID"] == found[key]["UID"], key
    assert after[key]["SEQUENCE"] > found[key]["SEQUENCE"] and after[key]["DTSTART"].dt > found[key]["DTSTART"].dt
    others = [it for it in found if it != key]
    assert all(after[it]["SEQUENCE"] == found[it]["SEQUENCE"] for it in others)

    lead.delete(f"{at}/calendar-link", timeout=30).raise_for_status()
    assert requests.get(f"{base}{path}", timeout=30).status_code == 404
    print(f"passed  {len(found)} dates over HTTP by icalendar: {len(days)} planned days, {len(recent)} ends, one check that moved")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True, help="path of the program rungbook")
    program = parser.parse_args().program
    words = [program, "demo", "--listen", "127.0.0.1:0"]
    server = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        check(next(found.group(0) for line in server.stdout if (found := re.search(r"http://[0-9.:]*[0-9]", line))))
    finally:
        server.terminate()
        server.wait(30)
    print("\n1 passed, 0 failed")


if __name__ == "__main__":
    sys.exit(main())
