"""Brings back, after a restart, what the store knows: windows, baselines, alarm states.

Readings of this boot go back into the windows at their own times. Of other boots, whose
distance in time is not known for sure, only the baseline learns. Baselines are taken back as they
were last saved and then learn what was stored since. Where a channel's calibration was changed, its
readings go back as the new one would have given them, and its baseline learns them anew.
"""

import contextlib
import logging
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple, cast

from ventwright.alarms.comparing import longest_window
from ventwright.events import DIED, REBOOTED, SPOILT, STOPPED
from ventwright.keeper.core import Core
from ventwright.means.channel import Channel
from ventwright.quality.calibration import Moved, in_words
from ventwright.quality.marks import Quality
from ventwright.settings.model import DAY, Calibration
from ventwright.storage.blocks import Column
from ventwright.storage.reader import Boot, Reader, StoredBlock

_MOST_BLOCKS = 40_000
_PAGE = 1000

log = logging.getLogger(__name__)


class Before(NamedTuple):
    """What was found of the keeper before this one."""

    missed: int | None
    """Time without a keeper, ms, if it can be known."""
    why: str
    restored: int | None = None
    """When the state that was taken back had been saved, ms of its boot."""


class _Known(NamedTuple):
    """What is known already of the readings that are stored."""

    boot: int
    t: int
    """Up to there, ms of the boot, baselines have learned them."""
    seam: int
    """When the state was saved, ms."""
    moves: Mapping[str, Moved]
    """The channels whose calibration was another one then: of them nothing is known."""

    def news(self, channel: str, boot: int, t: int) -> bool:
        """Tell whether a channel's baseline has yet to learn of a time `t` ms of a boot."""
        return channel in self.moves or (boot, t) > (self.boot, self.t)


def restore(core: Core, reader: Reader, boot_name: str) -> Before:
    """Fill a fresh core from the store; returns how the keeper before ended."""
    boots = reader.boots()
    mine = next((b.id for b in boots.values() if b.name == boot_name), None)
    longest = max([DAY, *(longest_window(alarm.settings) for alarm in core.alarms.values())])
    saved, spoilt = None, False
    try:
        saved = reader.state("core")
    except ValueError as error:
        spoilt = True
        log.warning("%s: %s", SPOILT, error)
    if saved:
        core.same_air.restore(saved.get("same air", {}))
    moves = _moves(core, saved)
    place = _baselines(core, saved, boots, boot_name, moves)
    known = _Known(*place, saved["t"] if saved else 0, moves)
    for block in _recent(reader, longest):
        with contextlib.suppress(ValueError):  # a damaged block costs itself only
            _learn(core, block, block.boot == mine, known)
    for channel in core.channels.values():
        channel.resume()
    if saved:
        core.restore(saved, saved.get("boot") == boot_name)
    before = _before(reader, saved or spoilt, core.now, mine)
    if spoilt:
        return before._replace(why=SPOILT)
    return before._replace(restored=saved["t"]) if saved else before


def _moves(core: Core, saved: Any) -> dict[str, Moved]:
    then, now = (saved or {}).get("calibration"), in_words(core.settings.parts)
    if then is None:  # of a version that did not say
        return {}
    return {
        name: Moved(name, Calibration(*then.get(name, ())), Calibration(*now.get(name, ())))
        for name in core.channels
        if then.get(name) != now.get(name)
    }


def _baselines(
    core: Core, saved: Any, boots: dict[int, Boot], boot_name: str, moves: Mapping[str, Moved]
) -> tuple[int, int]:
    """Take the baselines back; returns up to where they know the store: boot and time in it, ms."""
    boot = next((b.id for b in boots.values() if saved and b.name == saved.get("boot")), None)
    if boot is None:
        return 0, 0
    with contextlib.suppress(KeyError, TypeError):  # of another version: they learn anew
        same = {name: one for name, one in saved["baselines"].items() if name not in moves}
        core.restore_baselines({**saved, "baselines": same}, saved["boot"] == boot_name)
        return boot, saved["t"]
    return 0, 0


def _recent(reader: Reader, longest: int) -> Iterator[StoredBlock]:
    """The last `longest` ms of blocks of every boot that is still among the newest, oldest first.

    A page at a time: all bodies at once would take more memory than the keeper has.
    """
    first = max(0, reader.last_block() - _MOST_BLOCKS)
    latest = reader.latest(first)
    while page := reader.blocks(first, _PAGE):
        yield from (block for block in page if block.last > latest[block.boot] - longest)
        first = page[-1].id


def _learn(core: Core, block: StoredBlock, same_boot: bool, known: _Known) -> None:
    part = core.parts.get(block.part.name)
    if part is None or part.kind.model != block.part.model:
        return
    times, columns = block.open()
    for name, column in zip(block.part.quantities, columns, strict=True):
        channel = core.channels.get(f"{part.name}.{name}")
        if channel is None:
            continue
        found, steps = _good(times, column, core.same_air.counted(channel.name))
        if move := known.moves.get(channel.name):
            steps = [move(step) for step in steps]
        if same_boot:
            place = bisect_right(found, core.now)
            _load(channel, found[:place], steps[:place], known.seam)
            continue
        pairs = zip(found, steps, strict=True)
        if new := [step for t, step in pairs if known.news(channel.name, block.boot, t)]:
            channel.learn(sum(new) / len(new))


def _load(channel: Channel, times: list[int], steps: list[int], seam: int) -> None:
    """Give a channel its readings; where those later than `seam` ms begin is noted."""
    later = bisect_right(times, seam)
    channel.load(times[:later], steps[:later])
    if later < len(times) and channel.seam is None:
        channel.seam = (channel.history.area, channel.history.cover)
    channel.load(times[later:], steps[later:])


def _good(times: list[int], column: Column, counted: bool) -> tuple[list[int], list[int]]:
    """Pick the good readings of a column: their times, and their values in whole steps.

    `counted`: with those that were judged although another part disagreed.
    """
    if not any(column.marks):  # all are good, and a good one has a value
        return times, cast(list[int], column.steps)
    good = [
        (t, s)
        for t, s, mark in zip(times, column.steps, column.marks, strict=True)
        if s is not None
        and (mark == Quality.GOOD or (counted and mark == Quality.INCONSISTENT_PARTS))
    ]
    return [t for t, _ in good], [s for _, s in good]


def _before(reader: Reader, saved: Any, now: int, mine: int | None) -> Before:
    if not saved:
        return Before(None, "first start")
    ended = reader.last_event("keeper")
    clean = ended is not None and ended.body.get("change") == "stopped"
    newest = reader.newest(mine) if mine is not None else None
    missed = None if newest is None else max(0, now - newest)
    if clean:
        return Before(missed, STOPPED)
    if mine is None:
        return Before(missed, REBOOTED)
    return Before(missed, DIED)
