"""Prints how early prints are noticed and how often something else is: `python -m detection`.

Runs in tests/ and takes minutes; `--weeks N` quiet and N printing weeks for each family.
"""

import argparse
import multiprocessing
import sys

from detection.families import HELD_OUT, KNOWN
from detection.score import Task, run
from detection.table import table

_NOTES = """
shipped: config/example.toml through the core, the fan {fan}.
knows all: background, foreign sources, bias, lag and noise of the part; at most one false alarm
  in four weeks. No detector in a room can be this one.
true > x: sees the true level without noise or lag, and knows the background, but not who brings
  in particles; x is where it has as many false alarms (or one in four weeks, if that is more).
learns > x: sees the true level without noise or lag, has to learn the background, and judges as the
  shipped alarm does; x, in setpoints, is chosen in the same way.
"""


def main() -> int:
    """Play both families and print their tables."""
    parser = argparse.ArgumentParser(prog="detection", description=__doc__)
    parser.add_argument("--weeks", type=int, default=24)
    parser.add_argument("--family", choices=("known", "held-out", "both"), default="both")
    parser.add_argument("--open-loop", action="store_true", help="the fan moves no air")
    words = parser.parse_args()
    families = {"known": [KNOWN], "held-out": [HELD_OUT]}.get(words.family, [KNOWN, HELD_OUT])
    with multiprocessing.Pool() as pool:
        for family in families:
            seeds = range(1, words.weeks + 1)
            works = not words.open_loop
            tasks = [
                Task(family, s, 7, printing, works) for s in seeds for printing in (False, True)
            ]
            print(table(family.name, pool.map(run, tasks, chunksize=1)), flush=True)
    print(_NOTES.format(fan="moving no air" if words.open_loop else "moving air as in the room"))
    return 0


if __name__ == "__main__":
    sys.exit(main())
