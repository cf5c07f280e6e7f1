"""How often the intervals of commissioning hold the truth, over many simulated walks and decays.

`cd tests && python -m commissioning [WALKS]` prints a table; pytest holds a short form to it.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from daemon.mixing.test_decay import decay, room
from ventwright.commissioning.notebook import Notebook
from ventwright.commissioning.verdict import Extractor
from ventwright.commissioning.walk import Walk
from walked import DUST, TRACER, Simulated, Truth


def walks(name: str, truth: Truth, count: int) -> None:
    held, off, refused = {"natural": 0, "clearance": 0, "flow": 0}, [], 0
    for seed in range(count):
        with TemporaryDirectory() as folder:
            place = Simulated(Path(folder), seed, truth)
            found = Walk(place, place.plan(), Notebook(Path(folder) / "notes")).run()
        natural, clearance = found.natural, found.extractors["hood"]
        refused += bool(natural.why or clearance.why)
        held["natural"] += natural.low <= truth.natural <= natural.high
        held["clearance"] += clearance.low <= truth.clearance <= clearance.high
        flow = Extractor("hood", "", truth.volume, 0.0, natural, clearance, "walk").flow()
        held["flow"] += flow.low <= truth.exhaust <= flow.high
        off.append(flow.value / truth.exhaust - 1)
    shares = ", ".join(f"{what} {times / count:.1%}" for what, times in held.items())
    worst = max(map(abs, off))
    print(f"{name}: {count} walks, {refused} refused; 95 % intervals hold: {shares}")
    print(f"  flow off by {sum(off) / count:+.1%} on average, {worst:.1%} at worst")


def decays(rate: float, hours: float, background: float | None, likeness: float, n: int) -> None:
    found = [decay(room(rate), hours, seed, background, 0, likeness) for seed in range(n)]
    held = sum(one.low <= rate <= one.high for one in found)
    refused = sum(bool(one.why) for one in found)
    print(f"{rate} /h, {hours} h, background {background}, neighbours alike by {likeness}: "
          f"{held / n:.1%} held, {refused} refused")  # fmt: skip


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for likeness in (0.0, 0.3, 0.6, 0.9):
        decays(5.0, 0.75, None, likeness, 3 * count)
        decays(0.9, 1.5, 6, likeness, 3 * count)
    walks("dust", DUST, count)
    walks("CO2", TRACER, count)


if __name__ == "__main__":
    main()
