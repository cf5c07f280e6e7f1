"""Throughput of every decoder, serial and I2C: frames a second on one core."""

import time
from random import Random

from drivers.frames import BLOCKS, STREAMS, Block, Stream

_FRAMES = 50


def _seconds(target: Stream | Block, rounds: int) -> float:
    frames = [target.make(Random(n)) for n in range(_FRAMES)]
    decode = target.decode
    began = time.process_time()
    for _ in range(rounds):
        for frame in frames:
            decode(frame)
    return time.process_time() - began


def measure(rounds: int) -> list[tuple[str, str, str]]:
    """Decode each decoder's own frames `rounds` times."""
    rows = []
    for name, target in {**STREAMS, **BLOCKS}.items():
        rate = rounds / _seconds(target, max(1, rounds // _FRAMES))
        rows.append((f"decoder of {name}", "-", f"{rate:,.0f} frames/s"))
    return rows
