"""Holds Rungbook's computing topics against independent libraries, on seeded random inputs.

    python check_references.py --program PATH/rungbook         asks the program, many inputs in one process
    python check_references.py --service http://127.0.0.1:8080 asks a running service (token in RUNGBOOK_TOKEN)

For each figure it states the differences as quantiles and fails a figure whose largest difference (or, where a figure is
an estimate from noisy data, whose stated quantile) is above its bound. The last line counts what passed and failed.
The libraries and their versions are in tests/requirements.txt.
"""

import argparse
import sys

import numpy as np

import air
import electric
import fits
import motion
import sun
from figures import Figure
from rungbook import Program, Service

TOPICS = air.TOPICS + fits.TOPICS + motion.TOPICS + electric.TOPICS + sun.TOPICS


def check(topic, ask, seed):
    """The topic's figures; inputs that were refused count as a figure that fails."""
    random = np.random.default_rng([seed, *topic.name.encode()])
    inputs = topic.inputs(random)
    answers = ask(topic.name, inputs)
    refused = [answer for answer in answers if "code" in answer and "title" in answer]
    for answer in refused[:3]:
        print(f"  refused: {answer}")
    print(f"\n{topic.name}: {len(inputs):,} inputs against {topic.against}")
    if refused:
        return [Figure("inputs refused", np.full(len(refused), np.inf), 0.0)]
    return topic.figures(inputs, answers)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    target = parser.add_mutually_exclusive_group(required=True)
    target.add_argument("--program", help="path of the program")
    target.add_argument("--service", help="base URL of a running service")
    parser.add_argument("--seed", type=int, default=20240517)
    parser.add_argument("--topic", action="append", help="only this topic; may be given several times")
    arguments = parser.parse_args()
    ask = Program(arguments.program) if arguments.program else Service(arguments.service)

    passed = failed = 0
    for topic in TOPICS:
        if arguments.topic and topic.name not in arguments.topic:
            continue
        for figure in check(topic, ask, arguments.seed):
            print(figure)
            if figure.holds():
                passed += 1
            else:
                failed += 1
    if passed + failed == 0:
        sys.exit("no such topic")
    print(f"\n{passed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
