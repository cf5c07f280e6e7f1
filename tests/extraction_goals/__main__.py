"""Prints how issue 5's goals for extraction are met: `python -m extraction_goals`, in tests/.

`--episodes N` for each kind of source and fan; 200 take some minutes on two processors.
"""

import argparse
import multiprocessing
import statistics
import sys
from collections.abc import Iterable

from extraction_goals.episodes import Episode, Shape, live
from extraction_goals.score import CLEAR, IN_TIME, evidence, noticed, recoveries, told

SHAPES: tuple[Shape, ...] = ("print", "even", "short")
HALF = 0.5


def _share(good: Iterable[bool]) -> str:
    found = list(good)
    if not found:
        return "none"
    return f"{sum(found)}/{len(found)} = {100 * sum(found) / len(found):.0f} %"


def _live(words: tuple[int, Shape, float]) -> Episode:
    return live(*words)


def _print_recovery(episodes: list[Episode]) -> None:
    for name, every in (("first", False), ("every minute's", True)):
        held = [r for e in episodes for r in recoveries(e, every)]
        print(f"  recovery, {name} prediction: within 20 % or 3 min {_share(r.good for r in held)}")
        print(f"    interval covers {_share(r.covered for r in held)} (goal 85 to 95 %)")


def _print_source(episodes: list[Episode]) -> None:
    held = [one for e in episodes if (one := told(e))]
    print(f"  source told: {len(held)} of {len(episodes)}")
    print(f"    mass within 15 %: {_share(abs(h.mass) <= 0.15 for h in held)}")
    if held:
        print(f"    median error {100 * statistics.median(h.mass for h in held):+.0f} %")
    print(f"    begin within 3 min: {_share(abs(h.begin) <= 180_000 for h in held)}")
    print(f"    end within 3 min: {_share(abs(h.end) <= 180_000 for h in held)}")


def _print_fan(healthy: list[Episode], half: list[Episode]) -> None:
    used = [e for e in healthy if e.started is not None]
    wrong = [e.seed for e in used if noticed(e) is not None]
    print(f"  false notices: {len(wrong)} in {len(used)} healthy uses {wrong[:9]}")
    failing = [e for e in half if e.started is not None]
    times = [noticed(e) for e in failing]
    print(f"  half flow noticed in 15 min: {_share(t is not None and t <= IN_TIME for t in times)}")
    if failing and failing[0].shape == "even":
        clear = _share(evidence(e) >= CLEAR for e in failing)
        print(f"    could be noticed in 15 min by whoever knows all but the source: {clear}")
    print(f"    noticed at all: {_share(t is not None for t in times)}")


def main() -> int:
    """Live the episodes and print what was found."""
    parser = argparse.ArgumentParser(prog="extraction_goals", description=__doc__)
    parser.add_argument("--episodes", type=int, default=200)
    count = range(1, parser.parse_args().episodes + 1)
    with multiprocessing.Pool() as pool:
        for shape in SHAPES:
            healthy = pool.map(_live, [(n, shape, 1.0) for n in count], chunksize=4)
            half = pool.map(_live, [(n, shape, HALF) for n in count], chunksize=4)
            print(f"{shape}: {len(healthy)} episodes", flush=True)
            _print_recovery(healthy)
            _print_source(healthy)
            _print_fan(healthy, half)
    return 0


if __name__ == "__main__":
    sys.exit(main())
