"""Makes what schemathesis generates likely to get past the first door.

What is generated at random names nothing that exists, is signed by nobody, and is of no version: nearly all of it would end
as 404, 403 or 428, and the code behind would never run. So most requests get names, passwords, digests and versions that are
real at that moment, and bodies that are real ones with something generated in them. The rest goes out as it was generated.

It is loaded by schemathesis (SCHEMATHESIS_HOOKS) and told by the environment where the server is and who asks.
"""

import atexit
import collections
import copy
import datetime
import json
import os
import random

import requests
import schemathesis

BASE = os.environ["FUZZ_BASE"]
ROLE = os.environ["FUZZ_ROLE"]
# "everything", or "acts": what writes and what the role may.
ASKS = os.environ["FUZZ_ASKS"]
# People who fuzz: nobody may take their roles, their passwords or their sessions away meanwhile.
SPARED = set(os.environ["FUZZ_SPARED"].split())
PROGRAMME = "tallow"
PASSWORD = "one rung at a time"

# Everything that is left to chance here is left to this, so that one seed gives one run.
chance = random.Random(int(os.environ["FUZZ_SEED"]))
asks = requests.Session()
asks.headers["Authorization"] = f"Bearer {os.environ['FUZZ_TOKEN']}"


def read(path):
    """The JSON that stands at a path and its ETag, or nothing."""
    reply = asks.get(BASE + path, timeout=30)
    if reply.status_code != 200 or "json" not in reply.headers.get("content-type", ""):
        return None, None
    return reply.json(), reply.headers.get("etag")


def rows(path):
    found, _ = read(f"/api/v1/programmes/{PROGRAMME}{path}?limit=500")
    return (found or {}).get("items", [])


DESCRIPTION, _ = read("/api/v1/openapi.json")
TOPICS = {topic["name"]: topic for topic in read("/api/v1/compute")[0]}
RUNS = rows("/runs")
# Recordings that belong to a run, by their digests, each with its channels.
RECORDINGS = {
    row["recording"]: read(f"/api/v1/programmes/{PROGRAMME}/recordings/{row['recording']}")[0]
    for row in rows("/recordings")
    if row["runs"]
}
NUMBERS = list(range(1, 25))
NAMES = {
    "programme": [PROGRAMME],
    "point": [point["code"] for point in rows("/points")],
    "item": [item["code"] for item in rows("/configuration/items")],
    "channel": [channel["code"] for channel in rows("/channels")],
    "limit": [row["limit"]["code"] for row in rows("/limits")],
    "check": [row["check"]["code"] for row in rows("/checks")],
    "hazard": [row["hazard"]["code"] for row in rows("/hazards")],
    "document": [row["document"]["code"] for row in rows("/documents")],
    "recorder": [recorder["code"] for recorder in rows("/recorders")],
    "person": [row["person"]["handle"] for row in rows("/people") if row["person"]["handle"] not in SPARED],
    "topic": list(TOPICS),
    "recording": list(RECORDINGS),
    "run": [run["run"] for run in RUNS],
    "snag": NUMBERS[:8],
    "exceedance": NUMBERS[:8],
    "proposal": NUMBERS[:4],
    "interval": NUMBERS[:4],
    "reduction": NUMBERS[:4],
    "deviation": NUMBERS[:4],
    "pair": ["speed-altitude", "speed-load-factor", "mass-centre-of-gravity", "power-time", "charge-power"],
    "seq": NUMBERS,
}
for kind, known in NAMES.items():
    assert known, f"the demonstration has no {kind}"

# Fields of bodies that name something, besides those that are called like what they name.
ALSO_NAMES = {"channels": "channel", "points": "point", "items": "item", "hazards": "hazard", "parameter": "channel", "against": "recording", "from_intervals": "interval"}

# How often each operation answered with each status, for the summary at the end.
answered = collections.Counter()


@schemathesis.hook
def before_load_schema(context, raw_schema):
    # Replies may have no field that is not described, although later versions may add some.
    closed(raw_schema["components"]["schemas"])
    if ASKS == "everything":
        return
    for path, item in list(raw_schema["paths"].items()):
        for method, operation in list(item.items()):
            if method == "get" or ROLE not in operation.get("x-permitted-roles", [ROLE]):
                del item[method]
        if not item:
            del raw_schema["paths"][path]


def closed(schemas):
    """Closes every object, so that a field which the description does not have is found; but none that is a part of a larger
    one, whose other fields it would forbid."""
    shared = set()
    parts_of(schemas, shared)
    for name, schema in schemas.items():
        if name not in shared:
            close(schema)


def parts_of(schema, shared):
    if isinstance(schema, dict):
        for part in schema.get("allOf", []):
            if isinstance(part, dict) and "$ref" in part:
                shared.add(part["$ref"].rsplit("/", 1)[-1])
        schema = list(schema.values())
    if isinstance(schema, list):
        for part in schema:
            parts_of(part, shared)


def close(schema):
    if isinstance(schema, dict):
        if "allOf" in schema:
            return
        if schema.get("type") == "object" and "properties" in schema:
            schema.setdefault("additionalProperties", False)
        schema = list(schema.values())
    if isinstance(schema, list):
        for part in schema:
            close(part)


@schemathesis.hook
def after_call(context, case, response):
    if case.method.lower() in DESCRIPTION["paths"][case.path]:
        answered[f"{case.method} {case.path}", response.status_code] += 1


@atexit.register
def write_down():
    with open(os.environ["FUZZ_ANSWERED"], "a", encoding="utf-8") as file:
        for (operation, status), times in answered.items():
            print(json.dumps([operation, status, times]), file=file)


def often(share):
    return chance.random() < share


@schemathesis.hook
def before_call(context, case, kwargs):
    name_things(case)
    if case.method.lower() not in DESCRIPTION["paths"][case.path]:
        # A method that does nothing here has nothing to be likely about.
        return
    if case.method == "GET":
        look_back(case)
        return
    if case.path.endswith("/recordings") and often(0.75):
        send_a_file(case)
        return
    stands, tag = whats_there(case)
    amends = any(header.name == "If-Match" for header in case.operation.headers)
    if tag and amends and often(0.8):
        case.headers["If-Match"] = tag
        case.headers.pop("If-None-Match", None)
    if isinstance(case.body, dict) and case.media_type == "application/json":
        case.body = likely(case, stands)


def name_things(case):
    """Most paths name things that are there."""
    names = case.path_parameters or {}
    for name in names:
        if name in NAMES and (often(0.9) or str(names[name]) in SPARED):
            names[name] = chance.choice(NAMES[name])
    if case.path.endswith("/setting-aside"):
        # What was set aside is not there for others: of those that matter none is.
        names["recording"] = chance.choice([row["recording"] for row in RECORDINGS.values() if row["recorder"] == "gnss"] or ["0" * 64])
    for name, path in (("interval", "/intervals"), ("reduction", "/reductions")):
        there = rows(path) if name in names and often(0.8) else []
        if there:
            names[name] = chance.choice(there)[name]
    if "run" in names and "point" in names and often(0.8):
        run = chance.choice(RUNS)
        names["run"], names["point"] = run["run"], chance.choice(run["points"])


def look_back(case):
    """Some moments that are asked for have been, and most of what is named is there."""
    for field in case.query or {}:
        kind = ALSO_NAMES.get(field, field)
        if kind in NAMES and often(0.7):
            case.query[field] = chance.choice(NAMES[kind])
    of = RECORDINGS.get((case.path_parameters or {}).get("recording"))
    if of and often(0.7):
        # What belongs together: a run of the recording, another recording of that run, and a channel of both.
        asked = case.query or {}
        other = beside(of)
        asked |= {"run": chance.choice(of["runs"])} if case.path.endswith("/judged") else {}
        asked |= {"against": other["recording"], "channel": shared(of, other)} if case.path.endswith("/clock-estimate") else {}
        for moment in {"from", "to"} & set(asked):
            asked[moment] = of["started"] if moment == "from" else of["ended"]
        if "channel" in asked and not case.path.endswith("/clock-estimate"):
            asked["channel"] = chance.choice(of["channels"])["channel"]
        case.query = asked
    if case.query and "as_of" in case.query and often(0.5):
        seq = chance.randint(1, 200)
        record, _ = read(f"/api/v1/programmes/{PROGRAMME}/ledger/records/{seq}")
        case.query["as_of"] = chance.choice([str(seq), record["entry"]["at"] if record else "2000-01-01T00:00:00Z"])


def beside(recording):
    """Another recording of the same run, where there is one."""
    others = [row for row in RECORDINGS.values() if row != recording and set(row["runs"]) & set(recording["runs"])]
    return chance.choice(others or [recording])


def shared(one, other):
    """A channel of both recordings, where there is one."""
    channels = [{channel["channel"] for channel in row["channels"]} for row in (one, other)]
    return chance.choice(sorted(channels[0] & channels[1]) or sorted(channels[0]))


def send_a_file(case):
    """The beginning of a file that the demonstration has, so long that it is another file than any before."""
    of = chance.choice([row for row in RECORDINGS.values() if row["recorder"] != "gnss"])
    path = f"/api/v1/programmes/{PROGRAMME}/recordings/{of['recording']}/original"
    lines = asks.get(BASE + path, timeout=30).content.splitlines(keepends=True)
    case.body = b"".join(lines[: chance.randint(20, 500)])
    case.query = {"recorder": of["recorder"], "name": of["name"]}


def part_of(recording):
    """A minute of a recording, by its own clock."""
    begins = datetime.datetime.fromisoformat(recording["started"]) + datetime.timedelta(seconds=chance.randint(60, 400))
    moment = lambda seconds: (begins + datetime.timedelta(seconds=seconds)).strftime("%Y-%m-%dT%H:%M:%SZ")
    return {"by": "times", "from": moment(0), "to": moment(60)}


def of_recordings(case, names):
    """A body about recordings in which everything belongs together; nothing for what is about something else."""
    of = RECORDINGS.get(names.get("recording")) or chance.choice(list(RECORDINGS.values()))
    run = chance.choice(of["runs"])
    if case.path.endswith("/attachment"):
        return {"run": run}
    if case.path.endswith("/clock"):
        other = beside(of)
        offset_s = round(chance.uniform(-5, 5), 2)
        return {"against": other["recording"], "channel": shared(of, other), "offset_s": offset_s, "correlation": 0.9}
    if case.path.endswith("/steady"):
        channel = chance.choice(of["channels"])
        known, _ = read(f"/api/v1/programmes/{PROGRAMME}/channels/{channel['channel']}")
        unit = (known or {}).get("unit", "degC")
        return {"run": run, "at_least_s": 5.0, "held": [{"channel": channel["channel"], "target": 20.0, "tolerance": 50.0, "unit": unit}]}
    if case.path.endswith("/intervals"):
        points = [point for known in RUNS if known["run"] == run for point in known["points"]]
        return {"recording": of["recording"], "run": run, "point": chance.choice(points), "how": part_of(of)}
    if case.path.endswith("/reductions"):
        packs = [row for row in rows("/intervals") if RECORDINGS.get(row["recording"], {}).get("recorder") == "bms"]
        interval = chance.choice(packs or [{"interval": 1}])["interval"]
        return {"interval": interval, "method": "energy", "channels": {"current": "pack_a", "voltage": "pack_v"}}
    return None


def whats_there(case):
    """What a request is about: what stands at its path, or else at the nearest path above it."""
    path = case.path
    for name, value in (case.path_parameters or {}).items():
        path = path.replace("{" + name + "}", requests.utils.quote(str(value), safe=""))
    while path.count("/") > 3:
        found, tag = read(path)
        if found is not None:
            return found, tag
        path = path.rpartition("/")[0]
    return None, None


def likely(case, stands):
    together = of_recordings(case, case.path_parameters or {})
    if together and often(0.6):
        return together
    body = copy.deepcopy(case.body)
    real = real_body(case, stands)
    if isinstance(real, dict) and often(0.75):
        # A body that would be taken, with at most two fields as they were generated.
        kept = chance.sample(sorted(body), min(len(body), chance.randint(0, 2)))
        body = real | {field: body[field] for field in kept}
    for field, value in body.items():
        kind = ALSO_NAMES.get(field, field)
        if isinstance(value, str) and kind in NAMES and often(0.7):
            body[field] = (case.path_parameters or {}).get(kind) or chance.choice(NAMES[kind])
        elif isinstance(value, list) and kind in NAMES and often(0.5):
            body[field] = chance.sample(NAMES[kind], min(len(NAMES[kind]), chance.randint(0, 3)))
    for name in ("code", "handle"):
        if name in body and case.path_parameters and often(0.9):
            body[name] = list(case.path_parameters.values())[-1]
    if "secret" in body and often(0.9):
        body["secret"] = PASSWORD
    if "digest" in body and often(0.8) and not case.path.endswith("/sign-offs"):
        body["digest"] = chance.choice(digests(stands) or [body["digest"]])
    return body


def real_body(case, stands):
    """A body that the operation takes as things stand, or else the example that its description shows."""
    operation = DESCRIPTION["paths"][case.path][case.method.lower()]
    example = copy.deepcopy(operation["requestBody"]["content"]["application/json"].get("example"))
    names = case.path_parameters or {}
    if case.path.endswith("/compute/{topic}"):
        topic = TOPICS.get(str(names["topic"]))
        return copy.deepcopy(topic["example"]) if topic else None
    if case.path.endswith("/sessions/refresh"):
        entry = {"handle": "viktor", "password": PASSWORD}
        tokens = requests.post(f"{BASE}/api/v1/sessions", json=entry, timeout=30).json()
        return {"refresh_token": tokens.get("refresh_token", "")}
    if not isinstance(stands, dict):
        return example
    if case.path.endswith("/sign-offs"):
        mine = [part for part in stands.get("to_sign", {}).get("parts", []) if part["permitted"]]
        part = chance.choice(mine or [{}])
        signs = {field: part[field] for field in ("part", "run", "digest") if field in part}
        return signs | {field: example[field] for field in ("valid_until",) if part.get("part") == "release"}
    if case.path.endswith("/lifting"):
        return example | {"calls": [call["seq"] for call in stands.get("calls", [])]}
    if case.method == "PUT":
        for shape in [stands, *(part for part in stands.values() if isinstance(part, dict))]:
            if "code" in shape and set(case.body) & set(shape):
                return copy.deepcopy(shape)
    return example


def digests(stands):
    """Every digest in what stands there."""
    if isinstance(stands, dict):
        own = [value for key, value in stands.items() if key == "digest" and isinstance(value, str)]
        return own + [digest for value in stands.values() for digest in digests(value)]
    if isinstance(stands, list):
        return [digest for value in stands for digest in digests(value)]
    return []


# Documents and spreadsheets go out as the bytes that were generated.
for media_type in (
    "application/octet-stream",
    "application/toml",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "text/csv",
):

    @schemathesis.serializer(media_type)
    def serialize(context, value):
        if isinstance(value, bytes):
            return {"data": value}
        return {"data": str(value).encode("utf-8", "surrogateescape")}
