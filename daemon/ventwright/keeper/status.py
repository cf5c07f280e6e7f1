"""What the keeper says of itself when asked: one plain JSON object, units with every number."""

from typing import Any

from ventwright.extraction.extractor import Hold
from ventwright.keeper.core import Core
from ventwright.keeper.watch import PartWatch
from ventwright.means.channel import Channel
from ventwright.quality.marks import Quality
from ventwright.storage.keeping import Keeping

_COVERAGE = 0.5


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _channel(core: Core, channel: Channel, mark: int | None, warm: int) -> dict[str, Any]:
    mean = channel.mean(core.now, 60_000, _COVERAGE)
    base = channel.base
    known = mean.value is not None and base is not None
    raw = channel.quantity.raw
    rise = mean.value - base if known and not raw else None  # type: ignore[operator]
    ratio = mean.value / base if known and raw and base else None  # type: ignore[operator]
    return {
        "unit": channel.quantity.unit,
        "value": channel.last_value,
        "quality": "no reading yet" if mark is None else Quality(mark).words,
        "warm-up left (s)": None if mark is None else max(0, warm - core.now) // 1000,
        "mean over 1 min": _rounded(mean.value),
        "coverage": round(mean.coverage, 2),
        "baseline": _rounded(base),
        "baseline is young": channel.baseline.young,
        "baseline sigma": _rounded(channel.base_sigma),
        "baseline held for (min)": channel.baseline.held,
        "rise": _rounded(rise),
        "rise sigma": None if raw else _rounded(channel.rise_sigma(60_000)),
        "ratio to clean air": None if ratio is None else round(ratio, 3),
    }


def _state(part: PartWatch) -> str:
    if part.trouble is None:
        return "there"
    return "failing in part" if part.partly else "lost" if part.lost else "in trouble"


def _part(core: Core, part: PartWatch) -> dict[str, Any]:
    marks: list[int | None] = list(part.marks) or [None] * len(part.channels)
    if part.marks and part.stale(core.now):
        marks = [mark or Quality.STALE for mark in marks]
    left = part.judge.warm_until - core.now
    return {
        "model": part.kind.model,
        "divided for humidity by": _rounded(core.corrections.factor(part.name, core.now)),
        "state": _state(part),
        "why": part.trouble[1] if part.trouble else part.fault,
        "warm-up left (s)": max(0, left) // 1000 if part.marks else None,
        "laser on (h)": part.laser_ms // 3_600_000 if part.kind.optical else None,
        "laser life (h)": part.kind.laser_hours,
        "rests for (s)": part.kind.rest // 1000,
        "channels": {
            channel.quantity.name: _channel(
                core, channel, mark, part.judge.warm_for(channel.quantity.name)
            )
            for channel, mark in zip(part.channels, marks, strict=True)
        },
    }


def _alarms(core: Core) -> dict[str, Any]:
    return {
        name: {
            "state": alarm.state.value,
            "priority": alarm.settings.priority,
            "channel": alarm.settings.channel,
            "compare": alarm.settings.compare,
            "over (s)": alarm.settings.over // 1000,
            "unit": alarm.unit,
            "value": _rounded(alarm.value),
            "setpoint": round(alarm.setpoint, 2),
            "since": alarm.since if alarm.condition.active else None,
            "peak": _rounded(alarm.peak) if alarm.condition.active else None,
            "dose": _rounded(alarm.dose) if alarm.condition.active else None,
            "chattering": alarm.habits.chattering(core.now),
            "standing": alarm.habits.standing(alarm.condition.active),
        }
        for name, alarm in core.alarms.items()
    }


def _ceiling(hold: Hold | None) -> dict[str, Any] | None:
    return hold.ceiling._asdict() if hold and hold.ceiling else None


def _commissioned(core: Core, name: str) -> dict[str, Any] | None:
    found = core.commissioned.get(name)
    return found._asdict() if found else None


def _extractors(core: Core) -> dict[str, Any]:
    return {
        name: {
            "state": extractor.state.value,
            "on": extractor.on,
            "waiting for a minimum time": extractor.waiting,
            "since": extractor.since,
            "relay": extractor.settings.relay,
            "held by": extractor.hold.who if extractor.hold else None,
            "ceiling": _ceiling(extractor.hold),
            "commissioned": _commissioned(core, name),
            "quiet hours keep it off": extractor.kept_quiet,
            "rests until": extractor.rests_until,
            "fan speed (1/min)": core.turning.speed(name, core.now),
            "clearance is low": core.sources.low(name),
        }
        for name, extractor in core.extractors.items()
    }


def _relays(core: Core) -> dict[str, Any]:
    return {
        name: {"commanded": r.commanded, "reads back": r.state, "failing": r.failing}
        for name, r in core.relays.items()
    }


def status(core: Core, keeping: Keeping, offset: int, settled: bool) -> dict[str, Any]:
    """Describe everything now; times are ms of the boot, `offset` makes Unix ms of them."""
    return {
        "room": core.settings.room.name,
        "now": core.now,
        "offset": offset,
        "clock is right": settled,
        "parts": {name: _part(core, part) for name, part in core.parts.items()},
        "alarms": _alarms(core),
        "extractors": _extractors(core),
        "sources": {n: core.sources.figures(s) for n, s in core.sources.sources.items()},
        "relays": _relays(core),
        "store": {
            "failing": keeping.failing,
            "last commit": keeping.last_commit,
            "unstored": keeping.unstored,
        },
    }
