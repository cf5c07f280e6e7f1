"""Commissions a room by a walk or from the past, and makes verdicts of the extractors.

Joins settings, store and walk; knows no terminal.
"""

import time
from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

from ventwright.commissioning.findings import Rate
from ventwright.commissioning.levels import Levels, remembered
from ventwright.commissioning.notebook import Notebook
from ventwright.commissioning.past import Past, look, spells
from ventwright.commissioning.tracers import beside, tracer, tracers
from ventwright.commissioning.verdict import Extractor
from ventwright.commissioning.walk import Place, Plan, StoppedError, Walk
from ventwright.reporting.happenings import happenings
from ventwright.settings.findings import listed
from ventwright.settings.model import MINUTE, Settings
from ventwright.storage.reader import Reader

NOTES = "commissioning.json"
"""The file in the store's folder that an interrupted walk goes on from."""


_LEAST_WATCH_MS, _LEAST_DECAY_MS = 3 * MINUTE, 10 * MINUTE


class Wanted(NamedTuple):
    """What somebody asks for; None: as it is usual."""

    channel: str | None = None
    extractors: Sequence[str] = ()
    ceiling: float | None = None
    background: int = 600_000
    """ms"""
    longest: int = 5_400_000
    """ms"""


def _possible(wanted: Wanted, ceiling: float, least: float, unit: str) -> None:
    """Refuse what no walk can be made with; raises StoppedError."""
    if wanted.background < _LEAST_WATCH_MS:
        raise StoppedError("--watch is too short: the background takes 3 min at least.")
    if wanted.longest < _LEAST_DECAY_MS:
        raise StoppedError("--longest is too short: a decay takes 10 min at least.")
    if ceiling <= least:
        raise StoppedError(
            f"--ceiling {ceiling:g} is too low: a decay begins {least:g} {unit} above the "
            "background at least."
        )


def plan(settings: Settings, wanted: Wanted) -> Plan:
    """Fill in what was not asked for; raises StoppedError, a sentence."""
    names = list(wanted.extractors or settings.extractors)
    if not names:
        raise StoppedError(
            "There is no extractor in the configuration; there is nothing to measure."
        )
    for name in names:
        if name not in settings.extractors:
            there = listed(settings.extractors) or "none"
            raise StoppedError(f"There is no extractor {name}; extractors here: {there}.")
    channel = wanted.channel or next(iter(tracers(settings)), "")
    if not channel:
        raise StoppedError("No part here measures particles or CO2, which a walk needs.")
    try:
        quantity, use = tracer(settings, channel)
    except ValueError as error:
        raise StoppedError(f"{str(error)[:1].upper()}{str(error)[1:]}.") from error
    ceiling = use.ceiling if wanted.ceiling is None else wanted.ceiling
    _possible(wanted, ceiling, use.least, quantity.unit)
    others = beside(settings, channel)
    times = (use.settle, wanted.background, wanted.longest)
    return Plan(channel, quantity.unit, others, names, use.least, ceiling, *times)


def walked(settings: Settings, place: Place, found: Plan) -> list[Extractor]:
    """Walk; raises StoppedError, NotRunningError, sqlite3.Error."""
    result = Walk(place, found, Notebook(settings.store.folder / NOTES)).run()
    return [
        _verdict(settings, found, name, (result.natural, clearance), "walk")
        for name, clearance in result.extractors.items()
    ]


def _verdict(
    settings: Settings, found: Plan, name: str, rates: tuple[Rate, Rate], method: str
) -> Extractor:
    room = settings.room
    return Extractor(name, found.channel, room.volume, room.volume_error, *rates, method)


def recorded(
    settings: Settings, found: Plan, begins: int, ends: int
) -> tuple[list[Extractor], Past]:
    """Look at what was recorded between two times (Unix ms); raises sqlite3.Error."""
    folder, channels = settings.store.folder, (found.channel, *found.beside)
    reader = Reader(folder)
    try:
        runs = happenings(reader, ends).within(begins, ends).runs
    finally:
        reader.close()

    def give(first: int, last: int) -> dict[str, Levels]:
        return remembered(folder, settings, channels, first, last)

    past = look(spells(runs, begins, ends), found, give)
    natural = past.rate("")
    verdicts = [
        _verdict(settings, found, name, (natural, past.rate(name)), _method(past, name))
        for name in found.extractors
    ]
    return verdicts, past


def _method(past: Past, name: str) -> str:
    return f"past, {len(past.rates.get('', []))} + {len(past.rates.get(name, []))} decays"


def kept(settings: Settings) -> list[dict[str, Any]]:
    """Give the stored commissionings, the newest first; raises sqlite3.Error."""
    reader = Reader(settings.store.folder)
    try:
        found = happenings(reader, round(time.time() * 1000)).commissioned
    finally:
        reader.close()
    newest = sorted(found, key=lambda one: one.t, reverse=True)
    return [{"extractor": one.extractor, "at": _when(one.t), **one.body} for one in newest]


def _when(unix_ms: int) -> str:
    return datetime.fromtimestamp(unix_ms / 1000).isoformat(timespec="seconds")
