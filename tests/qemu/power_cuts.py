"""Cuts the power of the board at random instants: `cd tests && nice python -m qemu.power_cuts 30`.

Each time: boot, every committed row is there and unchanged, the store is whole, readings flow, and
the relay is as the air asks for; then, at a random instant, the next cut. Needs root.
"""

import random
import statistics
import sys
import tempfile
import time
from pathlib import Path

from qemu.workshop import CLEAN, DIRTY, Workshop, build, within

PATIENCE_S = 300.0
LONGEST_S = 10.0
_LOOK = "systemctl --failed; ventwright status; ls /dev/serial/by-path; journalctl -b -n 200"


def one_boot(shop: Workshop, dice: random.Random) -> tuple[float, float, float]:
    """Boot and look; gives the seconds to the shell, to the first reading, to the right relay."""
    shop.level = dice.choice((CLEAN, DIRTY))
    begun = time.monotonic()
    shell = shop.boot()
    assert shop.witness is not None
    try:
        shop.witness.caught_up(shop.known, 1, PATIENCE_S)
    except AssertionError:
        print(shop.type(_LOOK).text, flush=True)
        raise
    reading = time.monotonic() - begun
    right = shop.level == DIRTY
    within(PATIENCE_S, lambda: shop.extracting is right, f"relay {right}")
    return shell, reading, time.monotonic() - begun


def live(shop: Workshop, dice: random.Random) -> None:
    """Let a random time pass, in which the air may change, and cut the power."""
    time.sleep(dice.uniform(0, LONGEST_S))
    shop.level = dice.choice((CLEAN, DIRTY))
    time.sleep(dice.uniform(0, LONGEST_S))
    shop.cut_power()


def run(shop: Workshop, cuts: int, seed: int) -> None:
    """Install, then cut and boot; tells figures as it goes. Raises AssertionError at a loss."""
    dice = random.Random(seed)
    shop.boot()
    shop.furnish()
    said = shop.install()
    print(said.text, flush=True)
    assert said.status == 0
    assert shop.configure().status == 0
    took = []
    for cut in range(1, cuts + 1):
        live(shop, dice)
        took.append(one_boot(shop, dice))
        told = ", ".join(f"{seconds:.0f}" for seconds in took[-1])
        air = "dirty" if shop.level == DIRTY else "clean"
        print(f"cut {cut}: {len(shop.known)} rows all there; {air}; s to {told}", flush=True)
    names = ("shell", "first committed reading", "right relay")
    for name, seconds in zip(names, zip(*took, strict=True), strict=True):
        print(f"{name}: median {statistics.median(seconds):.0f} s, most {max(seconds):.0f} s")
    print(f"{cuts} power cuts, {len(shop.known)} committed rows, none lost, none changed")


def main() -> None:
    """Build a board and cut its power as often as the command line says."""
    cuts = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        build(folder, prebuilt=True)
        shop = Workshop(folder)
        try:
            run(shop, cuts, seed=6)
        finally:
            shop.close()


if __name__ == "__main__":
    main()
