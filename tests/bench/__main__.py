"""Prints the design's budgets with what was measured beside each: `python tests/bench`.

A benchmark, not a test: run it on a machine that does nothing else. `--short` takes fewer rounds.
"""

import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from bench import decoding, playing, processor, pushing, reaction, reporting, writing

Row = tuple[str, str, str]


def _core(folder: Path, short: bool) -> list[Row]:
    found = processor.measure(folder, 20 if short else 60)
    told = f"{found['ratio']:.2f}x ({found['keeper']:.0f} beside {found['bare']:.0f} µs)"
    return [("keeper process, CPU per reading, beside the bare script", "at most 2x", told)]


def _replay(folder: Path, short: bool) -> list[Row]:
    rate, growth = playing.measure(folder / "replay", 20_000 if short else 100_000)
    return [("replay", "50,000 readings/s", f"{rate:,.0f}; memory {growth:+.2f} MB")]


def _reaction(folder: Path, short: bool) -> list[Row]:
    took = reaction.measure(folder, 20 if short else 120)
    told = f"{reaction.p99(took):.1f} ms (median {took[len(took) // 2]:.1f} ms, n = {len(took)})"
    return [("last byte of a frame to relay command, p99", "50 ms", told)]


def _writing(folder: Path, short: bool) -> list[Row]:
    own, device = writing.megabytes_a_day(folder, 6 if short else 24)
    ready, memory = writing.ready_after(folder)
    return [
        ("bytes written to the device", "20 MB/day", f"{own:.1f} (whole device: {device:.1f})"),
        ("ready after start, on a day of readings, keeper", "1.5 s", f"{ready:.2f} s"),
        ("resident memory, keeper, windows full", "40 MB", f"{memory:.1f} MB"),
    ]


def _pushing(folder: Path, short: bool) -> list[Row]:
    rate, growth, peak = pushing.measure(folder, 10_000 if short else 100_000)
    told = f"{rate:,.0f}; memory {growth:+.1f} MB"
    return [
        ("push after an outage", "20,000 readings/s", told),
        ("resident memory, courier (peak, pushing)", "70 MB", f"{peak:.1f} MB"),
    ]


def _decoding(_folder: Path, short: bool) -> list[Row]:
    return decoding.measure(200 if short else 2000)


def _reporting(folder: Path, short: bool) -> list[Row]:
    found = reporting.measure(folder / "year", 30 if short else 365)
    what = f"{'a month' if short else 'a year'} of one-minute means, eight channels: report"
    told = f"{found.seconds:.1f} s ({found.processor:.1f} s CPU); memory {found.megabytes:.0f} MB"
    return [(what, "10 s", f"{told}; page {found.size // 1000} kB")]


def main() -> None:
    """Measure everything that can be measured already and print the table."""
    short = "--short" in sys.argv
    parts: list[Callable[[Path, bool], list[Row]]] = [
        _core,
        _replay,
        _reaction,
        _writing,
        _pushing,
        _decoding,
        _reporting,
    ]
    print(f"{os.cpu_count()} cores, Python {sys.version.split()[0]}\n")
    print(f"{'what':<58}{'budget':<20}measured")
    with tempfile.TemporaryDirectory() as name:
        for part in parts:
            for what, budget, measured in part(Path(name), short):
                print(f"{what:<58}{budget:<20}{measured}", flush=True)


if __name__ == "__main__":
    main()
