"""Tells how deep the fuzzing went: how many operations answered at least once with success."""

import collections
import json
import sys

# Where fewer operations than this share ever succeed, the fuzzing has become shallow and shows little.
ENOUGH = 0.7

statuses = collections.defaultdict(collections.Counter)
with open(sys.argv[1], encoding="utf-8") as file:
    for line in file:
        operation, status, times = json.loads(line)
        statuses[operation][status] += times
succeeded = [operation for operation, seen in statuses.items() if any(status < 400 for status in seen)]
total = sum(statuses.values(), collections.Counter())
for operation in sorted(set(statuses) - set(succeeded)):
    print(f"never succeeded: {operation} {dict(sorted(statuses[operation].items()))}")
print("Replies by status: " + ", ".join(f"{times} × {status}" for status, times in sorted(total.items())) + ".")
print(f"{sum(total.values())} requests; {len(succeeded)} of {len(statuses)} operations succeeded at least once.")
assert not any(status >= 500 for status in total), "the program failed"
assert len(succeeded) >= ENOUGH * len(statuses), "too few operations ever succeed"
