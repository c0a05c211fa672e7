"""Asks Rungbook: the program with many inputs in one process, or a running service."""

import json
import os
import subprocess
import urllib.error
import urllib.request


class Program:
    """`rungbook compute TOPIC --lines`: one JSON object a line in, one a line out."""

    def __init__(self, path):
        self.path = path

    def __call__(self, topic, inputs):
        lines = "".join(json.dumps(given, allow_nan=False) + "\n" for given in inputs)
        run = subprocess.run(
            [self.path, "compute", topic, "--lines"], input=lines, capture_output=True, text=True, check=True
        )
        answers = [json.loads(line) for line in run.stdout.splitlines()]
        if len(answers) != len(inputs):
            raise RuntimeError(f"{len(inputs)} inputs gave {len(answers)} answers")
        return answers


class Service:
    """`POST /api/v1/compute/TOPIC`; a refusal is taken as an answer, as the program's lines have it."""

    def __init__(self, base):
        self.base = base.rstrip("/")
        self.headers = {"Content-Type": "application/json"}
        if token := os.environ.get("RUNGBOOK_TOKEN"):
            self.headers["Authorization"] = f"Bearer {token}"

    def __call__(self, topic, inputs):
        return [self.ask(topic, given) for given in inputs]

    def ask(self, topic, given):
        body = json.dumps(given, allow_nan=False).encode()
        request = urllib.request.Request(f"{self.base}/api/v1/compute/{topic}", body, self.headers)
        try:
            with urllib.request.urlopen(request, timeout=60) as response:
                return json.load(response)
        except urllib.error.HTTPError as error:
            if error.code != 422:
                raise
            return json.load(error)
