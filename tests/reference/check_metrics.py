"""Reads the figures of a running service by PyPI's prometheus_client, and holds them against what was done.

    python check_metrics.py --program PATH

The whole text has to be read by that library's strict parser of OpenMetrics. Each counter goes up by exactly what was done, and by
nothing where nothing was; and whatever paths, methods, handles and keys strangers think of, no label and no series more comes of it
than the routes, codes and outcomes that there are. Of several organisations on one server the figures are the sums, and no label tells
one from another.
"""

import argparse
import concurrent.futures
import os
import random
import re
import subprocess
import sys
import tempfile
import time

import requests
from prometheus_client.openmetrics.parser import text_string_to_metric_families

PASSWORD = "a long password for stories"
AT = "/api/v1/programmes/small"
ROUTE = "/api/v1/programmes/{programme}/weather"
FILE = b"t,winding\n2026-05-02T08:00:00Z,55\n2026-05-02T08:00:01Z,56\n"


class Figures:
    """Every sample, by its name and labels."""

    def __init__(self, address):
        reply = requests.get(address, timeout=30)
        assert reply.status_code == 200, reply
        assert reply.headers["Content-Type"] == "application/openmetrics-text; version=1.0.0; charset=utf-8"
        self.families = {family.name: family for family in text_string_to_metric_families(reply.text)}
        self.samples = {
            (sample.name, tuple(sorted(sample.labels.items()))): sample.value
            for family in self.families.values()
            for sample in family.samples
        }

    def of(self, name, **labels):
        """The sum of all samples of a name that have these labels."""
        wanted = set(labels.items())
        return sum(value for (own, its), value in self.samples.items() if own == name and wanted <= set(its))


def check(base, address):
    def signs_in(handle, password=PASSWORD):
        body = {"handle": handle, "password": password}
        return requests.post(f"{base}/api/v1/sessions", json=body, timeout=30)

    assert requests.get(f"{base}/metrics", timeout=30).status_code == 404, "the port that everybody reaches tells nothing"
    assert requests.get(address.replace("/metrics", "/"), timeout=30).status_code == 404

    # Signing in, by what came of it. A hash each, also for who is not there.
    before = Figures(address)
    entry = signs_in("cas")
    assert signs_in("cas", "not the password").status_code == 401
    assert signs_in("nobody").status_code == 401
    after = Figures(address)
    rose = lambda name, **labels: after.of(name, **labels) - before.of(name, **labels)
    assert (rose("rungbook_sign_ins_total", outcome="admitted"), rose("rungbook_sign_ins_total", outcome="refused")) == (1, 2)
    assert rose("rungbook_secret_hashes_total") == 3
    assert rose("rungbook_problems_total", code="sign-in-refused") == 2

    # Records, acts, requests and their times.
    cas = requests.Session()
    cas.headers["Authorization"] = f"Bearer {entry.json()['access_token']}"
    body = {"weather": {"remarks": "Dry."}}
    before = Figures(address)
    for count in range(7):
        cas.post(f"{base}{AT}/weather", json=body, timeout=30).raise_for_status()
    for _ in range(3):
        reply = cas.post(f"{base}{AT}/weather", json=body, headers={"Idempotency-Key": "once"}, timeout=30)
        assert reply.status_code == 201, reply.text
    refused = cas.post(f"{base}{AT}/runs", json={"points": ["GR-01"], "crew": []}, timeout=30)
    assert refused.status_code in (409, 422), refused.text
    cas.get(f"{base}{AT}/weather", timeout=30).raise_for_status()
    took = cas.post(
        f"{base}{AT}/recordings?recorder=logger&name=first.csv",
        data=FILE,
        headers={"Content-Type": "text/csv"},
        timeout=30,
    )
    assert took.status_code == 201, took.text
    after = Figures(address)
    # Seven and one observation, and the recording.
    for name in ("rungbook_records_written_total", "rungbook_ledger_records"):
        assert rose(name) == 9, (name, rose(name))
    outcomes = {outcome: rose("rungbook_acts_total", outcome=outcome) for outcome in ("done", "repeated", "refused")}
    assert outcomes == {"done": 9, "repeated": 2, "refused": 1}, outcomes
    assert rose("rungbook_act_duration_seconds_count") == 12
    # One who waits for each answer has a transaction for each of the nine that wrote.
    assert rose("rungbook_transaction_acts_count") == rose("rungbook_transaction_duration_seconds_count") == 9
    assert rose("rungbook_transaction_acts_sum") == rose("rungbook_transaction_acts_bucket", le="1.0") == 9
    assert rose("rungbook_requests_total", route=ROUTE, method="POST", status="2xx") == 10
    assert rose("rungbook_requests_total", route=ROUTE, method="GET", status="2xx") == 1
    assert rose("rungbook_requests_total", status="4xx") == 1
    assert rose("rungbook_request_duration_seconds_count", route=ROUTE) == 11
    assert rose("rungbook_request_duration_seconds_bucket", route=ROUTE, le="+Inf") == 11
    assert rose("rungbook_requests_total") == 13

    # Each act is in one transaction, whoever it shares it with.
    before = Figures(address)
    with concurrent.futures.ThreadPoolExecutor(16) as crew:
        observe = lambda _: cas.post(f"{base}{AT}/weather", json=body, timeout=30).raise_for_status()
        list(crew.map(observe, range(400)))
    together = Figures(address)
    acts, transactions = (together.of(name) - before.of(name) for name in ("rungbook_transaction_acts_sum", "rungbook_transaction_acts_count"))
    assert acts == 400 and 1 <= transactions <= 400, (acts, transactions)

    # What goes on at this moment.
    assert (after.of("rungbook_uploads"), after.of("rungbook_event_streams")) == (0, 0)
    with cas.get(f"{base}{AT}/events?lasts_s=60", stream=True, timeout=30) as stream:
        next(stream.iter_lines())
        assert Figures(address).of("rungbook_event_streams") == 1
    for _ in range(600):
        if Figures(address).of("rungbook_event_streams") == 0:
            break
        # A stream that was left is found out when it says the next thing.
        cas.post(f"{base}{AT}/weather", json=body, timeout=30).raise_for_status()
        time.sleep(0.1)
    assert Figures(address).of("rungbook_event_streams") == 0

    # What it is and holds.
    assert after.of("rungbook_programmes") == 1 and after.of("rungbook_writing") == 1
    assert 1e7 < after.of("process_resident_memory_bytes") < 1e10
    assert abs(time.time() - after.of("process_start_time_seconds")) < 600
    assert after.of("process_open_fds") > 5
    build = [labels for (name, labels) in after.samples if name == "rungbook_build_info"]
    assert len(build) == 1 and dict(build[0])["version"], build

    # Whatever strangers think of.
    chance = random.Random(20260502)
    word = lambda: "".join(chance.choice("abcdefghijklmnopqrstuvwxyz0123456789-._~%20\u00e4") for _ in range(chance.randint(1, 30)))
    begins = ("/", "/api/v1/", "/api/v1/programmes/", f"{AT}/points/", f"{AT}/", "/programmes/", "/programmes/small/", "/assets/")
    methods = ("GET", "POST", "PUT", "DELETE", "HEAD", "PATCH", "OPTIONS", "TRACE", "BREW", "X" * 40)

    def strange():
        path = chance.choice(begins) + "/".join(word() for _ in range(chance.randint(0, 4)))
        headers = {"X-Request-Id": word().encode("ascii", "ignore").decode() + "0" * 8, "Idempotency-Key": "k" + str(chance.random())}
        cas.request(chance.choice(methods), f"{base}{path}", json={word(): word()}, headers=headers, timeout=30, allow_redirects=False)

    for _ in range(600):
        strange()
    known = requests.get(f"{base}/api/v1/openapi.json", timeout=30).json()["paths"]
    after = Figures(address)
    values = {}
    for name, labels in after.samples:
        for label, value in labels:
            values.setdefault(label, set()).add(value)
    assert set(values) == {"route", "method", "status", "code", "outcome", "le", "version"}, set(values)
    assert values["method"] <= {"GET", "HEAD", "POST", "PUT", "DELETE", "other"}, values["method"]
    assert values["status"] <= {"1xx", "2xx", "3xx", "4xx", "5xx"}, values["status"]
    assert {route for route in values["route"] if route.startswith("/api/")} <= set(known), values["route"] - set(known)
    assert not any(name in route for route in values["route"] for name in ("small", "GR-01", "cas")), values["route"]
    assert all(re.fullmatch("[a-z][a-z-]+", code) for code in values["code"]), values["code"]
    # More of the same brings at most the routes, methods and classes that had not been met.
    most = len(values["route"])
    for _ in range(200):
        strange()
    again = {dict(labels)["route"] for name, labels in Figures(address).samples if name == "rungbook_requests_total"}
    assert all("{" in route or route in known or route in values["route"] for route in again), again - values["route"]
    print(
        f"passed  figures of the service by prometheus_client: {len(after.families)} families, {len(after.samples)} samples, "
        f"{most} routes after 600 strange requests"
    )


def check_organisations(base, address):
    """Two organisations, of which one has a programme and the other has none."""
    at = lambda host: {"Host": host}
    signs_in = lambda host, handle: requests.post(
        f"{base}/api/v1/sessions", json={"handle": handle, "password": PASSWORD}, headers=at(host), timeout=30
    )
    before = Figures(address)
    assert signs_in("north.example.org", "cas").status_code == 201
    assert signs_in("south.example.org", "keeper").status_code == 201
    assert signs_in("south.example.org", "cas").status_code == 401
    assert signs_in("east.example.org", "cas").status_code == 421
    after = Figures(address)
    rose = lambda name, **labels: after.of(name, **labels) - before.of(name, **labels)
    assert (rose("rungbook_sign_ins_total", outcome="admitted"), rose("rungbook_sign_ins_total", outcome="refused")) == (2, 1)
    assert rose("rungbook_secret_hashes_total") == 3
    assert rose("rungbook_problems_total", code="misdirected") == 1
    assert rose("rungbook_requests_total", route="/api/v1/sessions") == 4
    assert after.of("rungbook_programmes") == 1 and after.of("rungbook_writing") == 1
    chance = random.Random(20260503)
    for count in range(200):
        host = chance.choice(("north.example.org", "SOUTH.example.org:80", f"x{count}.example.org", "[::1]", "a b", ""))
        requests.get(f"{base}/api/v1/health/ready", headers=at(host), timeout=30)
    last = Figures(address)
    routes = {dict(labels).get("route") for _, labels in set(last.samples) - set(after.samples)}
    assert routes <= {"/api/v1/health/ready", "none"}, routes
    assert not any("example" in value for _, labels in last.samples for _, value in labels)
    ready = requests.get(address.replace("/metrics", "/health/ready"), timeout=30)
    assert ready.status_code == 200 and ready.json()["ready"] is True, ready.text
    print("passed  figures of two organisations: sums, and nothing that tells one from the other")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True, help="path of the program rungbook")
    program = parser.parse_args().program
    document = os.path.join(os.path.dirname(__file__), "..", "team.toml")
    with tempfile.TemporaryDirectory() as folder:
        data = ["--data", os.path.join(folder, "data")]
        environment = {**os.environ, "RUNGBOOK_PASSWORD": PASSWORD, "RUNGBOOK_LOG": "warn"}
        run = lambda *words: subprocess.run([program, *words, *data], env=environment, check=True, stdout=subprocess.DEVNULL)
        run("init", "--administrator", "keeper")
        run("person", "add", "cas")
        run("person", "add", "lea")
        run("import", document, "--programme", "small", "--by", "lea")

        def served(lines, checked, *words):
            words = [program, "serve", "--listen", "127.0.0.1:0", "--metrics", "127.0.0.1:0", *words]
            server = subprocess.Popen(words, env=environment, stdout=subprocess.PIPE, text=True)
            try:
                said = "".join(line for _, line in zip(range(lines), server.stdout))
                address = re.search(r"http://[0-9.:]+/metrics", said).group(0)
                checked(re.search(r"on (http://[0-9.:]*[0-9])", said).group(1), address)
            finally:
                server.terminate()
                assert server.wait(30) == 0

        served(2, check, *data)
        settings = os.path.join(folder, "settings.toml")
        with open(settings, "w", encoding="utf-8") as file:
            for host, place in (("north", data[1]), ("south", os.path.join(folder, "south"))):
                file.write(f'[[organisation]]\nhost = "{host}.example.org"\ndata = "{place}"\n')
        data = ["--settings", settings, "--organisation", "south.example.org"]
        run("init", "--administrator", "keeper")
        served(4, check_organisations, "--settings", settings)
    print("\n2 passed, 0 failed")


if __name__ == "__main__":
    sys.exit(main())
