"""Rules for a CSV: the alarms of the shipped example, and any rules at the pace of a file."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from ventwright.means.channel import reach_of
from ventwright.settings.alarm_table import complete_alarm
from ventwright.settings.durations import format_duration
from ventwright.settings.fields import build, check
from ventwright.settings.findings import Findings
from ventwright.settings.model import (
    SECOND,
    Alarm,
    Extractor,
    PartEntry,
    RelayEntry,
    Room,
    Settings,
    Storage,
)
from ventwright.settings.shipped import EXAMPLE, example

_NOWHERE = Path("/nowhere")


def shipped_rules(columns: list[str]) -> Settings:
    """Make a configuration for columns such as `bench.pm2_5`: the example's alarms on each part
    that has their quantity, and its extractors.
    """
    tables = example()
    parts = _parts(columns)
    extractors = {name: _checked(Extractor, table) for name, table in tables["extractors"].items()}
    return Settings(
        Room("the recorded room", float(tables["room"]["volume"])),
        Storage(_NOWHERE),
        parts,
        {e.relay: RelayEntry("", "", None, "off", 10 * SECOND) for e in extractors.values()},
        extractors,
        _alarms(tables["alarms"], parts),
    )


def at_pace(settings: Settings, periods: dict[str, int]) -> tuple[Settings, list[str]]:
    """Let no extractor go blind between two rows of a file with rare rows; tells what it changed.

    `periods` is the time between the samples of each part, ms.
    """
    changed, notes = dict(settings.extractors), []
    deciding = {a.channel.partition(".")[0] for a in settings.alarms.values() if a.extract}
    rarest = max([periods.get(part, 0) for part in deciding], default=0)
    least = reach_of(rarest)
    shown = format_duration(least)
    for name, extractor in settings.extractors.items():
        if least > extractor.blind_after and rarest:
            changed[name] = replace(extractor, blind_after=least)
            notes.append(
                f"A row comes every {format_duration(rarest)} or so: {name} is called blind "
                f"after {shown} here, not after {format_duration(extractor.blind_after)}."
            )
    return replace(settings, extractors=changed), notes


def _parts(columns: list[str]) -> dict[str, PartEntry]:
    names = dict.fromkeys(column.partition(".")[0] for column in columns)
    return {name: PartEntry("", "", None, quantities_of(name, columns)) for name in names}


def quantities_of(part: str, columns: list[str]) -> tuple[str, ...]:
    """Name the quantities that the columns have of a part, in their order."""
    pairs = [column.partition(".") for column in columns]
    return tuple(quantity for name, _, quantity in pairs if name == part)


def _alarms(tables: dict[str, Any], parts: dict[str, PartEntry]) -> dict[str, Alarm]:
    alarms = {}
    for name, table in tables.items():
        quantity = table["channel"].partition(".")[2]
        having = [part for part, entry in parts.items() if quantity in entry.quantities]
        for part in having:
            own = name if len(having) == 1 else f"{name}-{part}"
            moved = {**table, "channel": f"{part}.{quantity}"}
            whole = complete_alarm(moved, ("example",), Findings(EXAMPLE, {}, {}))
            alarms[own] = _checked(Alarm, whole)
    return alarms


def _checked(cls: type[Any], table: dict[str, Any]) -> Any:
    findings = Findings(EXAMPLE, {}, {})
    return build(cls, check(cls, table, ("example",), findings), ("example",), findings)
