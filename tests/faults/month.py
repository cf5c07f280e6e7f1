"""30 simulated days with faults by a schedule: `cd tests && python -m faults.month [DAYS] [MS]`.

The parts are sampled each MS ms, 10000 unless told. Prints a line a day:
resident memory, threads, descriptors, sizes of files, bytes written.
"""

import gc
import random
import sys
import tempfile
from pathlib import Path

from faults.house_in_fast_time import Fast, Sink, Size, down, size
from ventwright.courier.accounts import counts
from ventwright.notifying import outbox
from ventwright.settings.model import HOUR, MINUTE
from ventwright.storage.pruning import Limits
from ventwright.storage.reader import Reader

LIMITS = Limits(readings=24, minutes=48, hours=72, events=24)
MESSAGES = 10
"""So short, and messages kept so few, that pruning has begun after the first day."""


def day(house: Fast, base: Sink, owner: Sink, number: int) -> None:
    """A day: prints, and faults by dice."""
    dice = random.Random(number)
    hours = dict.fromkeys(range(24), "")
    for fault in ("base", "owner", "full", "part", "keeper", "courier", "both"):
        hours[dice.randrange(24)] = fault
    for hour, fault in hours.items():
        down(base, fault in ("base", "both"))
        down(owner, fault in ("owner", "both"))
        house.full = fault == "full"
        house.gone = {"door"} if fault == "part" else set()
        if fault == "keeper":
            house.restart()
        if fault == "courier":
            house.courier.close()
            house.open_courier()
        for quarter in range(4):
            house.level = 100.0 if hour % 6 == 2 and quarter == 1 else 0.0
            house.run(HOUR // 4)
    down(base, False)
    down(owner, False)
    house.full, house.gone = False, set()
    reader = Reader(house.folder)
    house.upkeep.allow(reader.identity, reader.newest_event(), reader.newest_event())
    reader.close()
    house.run(10 * MINUTE)


def month(folder: Path, days: int, period: int) -> tuple[list[Size], Fast, Sink, Sink]:
    """Run; the sizes at the end of each day."""
    base, owner = Sink(), Sink()
    house = Fast(
        folder / "store", f"http://127.0.0.1:{base.port}", f"127.0.0.1:{owner.port}", period
    )
    house.limits = house.upkeep._limits = LIMITS
    outbox.MOST_KEPT = MESSAGES
    sizes = []
    for number in range(days):
        day(house, base, owner, number)
        gc.collect()
        sizes.append(size(house.folder))
        print(number + 1, *sizes[-1], flush=True)
    return sizes, house, base, owner


def grown(sizes: list[Size]) -> list[str]:
    """Name what is larger at the end than on the fifth day, by more than a twentieth."""
    early, last = sizes[min(4, len(sizes) - 1)], sizes[-1]
    names = (name for name in Size._fields if name != "written")
    return [name for name in names if getattr(last, name) > 1.05 * getattr(early, name)]


def main() -> int:
    """Run and tell; status 1 if anything has grown, or if the accounts do not add up."""
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 30
    period = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    print("day", *Size._fields)
    with tempfile.TemporaryDirectory(dir="/var/tmp") as folder:
        sizes, house, base, owner = month(Path(folder), days, period)
        house.close()
        told = counts(house.folder)
        reader = Reader(house.folder)
        stored = reader.pruned() + sum(block.samples for block in reader.all_blocks())
        reader.close()
    parts = ("pushed", "empty", "refused", "dropped", "gone", "waiting")
    total = sum(told[part] for part in parts)
    print({part: told[part] for part in parts}, "sum", total, "of", stored)
    print("alarms raised", sum(house.raised.values()), "told", dict(owner.titles))
    a_day = (sizes[-1].written - sizes[0].written) / max(1, len(sizes) - 1) / 1e6
    print(f"{a_day:.1f} MB a day written; lines taken by the database {base.taken}")
    base.close()
    owner.close()
    too_much = grown(sizes)
    print("grown:", *(too_much or ["nothing"]))
    return int(bool(too_much) or total != stored)


if __name__ == "__main__":
    sys.exit(main())
