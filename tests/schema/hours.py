"""Holds files of hours against the committed JSON Schema; the last two, of the service and of the command line, are the same."""

import json
import sys

import jsonschema

def closed(schema):
    """The schema without room for fields that it does not describe: later versions may add some, this one may not."""
    if isinstance(schema, list):
        return [closed(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    schema = {name: closed(part) for name, part in schema.items()}
    if schema.get("type") == "object" and "properties" in schema:
        schema.setdefault("additionalProperties", False)
    return schema


with open("openapi/hours.schema.json", encoding="utf-8") as file:
    schema = json.load(file)
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(closed(schema), format_checker=jsonschema.FormatChecker())

documents = []
for path in sys.argv[1:]:
    with open(path, encoding="utf-8") as file:
        hours = json.load(file)
    validator.validate(hours)
    assert hours["runs"] and hours["by_person"] and hours["to_go"], f"{path}: the demonstration has completed hours"
    for total, figure in hours["totals"].items():
        if isinstance(figure, int) and total in hours["runs"][0]:
            assert figure == sum(run.get(total, 0) for run in hours["runs"]), f"{path}: {total} is not the sum of its rows"
    assert not validator.is_valid(dict(hours, records="many")), "the schema refuses what is not so"
    documents.append(hours)
assert documents[-1] == documents[-2], "the service and the command line give the same"
print(f"Hours: {len(documents[-1]['runs'])} runs, over HTTP and on the command line, are as hours.schema.json says.")
