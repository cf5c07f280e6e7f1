"""The page of a commissioning: how fast this room clears by itself and with its extractor."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from math import hypot
from typing import Any

from ventwright.drawing.conditions import Row, SideBySide, side_by_side
from ventwright.drawing.shapes import Picture
from ventwright.reporting.happenings import Commissioned
from ventwright.reporting.markup import Html, paragraph, section, table
from ventwright.reporting.page import answers, page
from ventwright.reporting.page import figure as drawn
from ventwright.reporting.words import figure
from ventwright.settings.model import Settings

_PLAIN = 1.96
"""Standard errors that make a range of 95 %."""
_WELL_MIXED = (
    "Rates are of the whole room as if well mixed; air beside the printer is worse. Clean air is "
    "volume x (rate with extraction - rate without), as in AHAM AC-1 (from memory)."
)

Told = dict[str, Any]


def rates(one: Commissioned) -> Told:
    """Tell the rates (1/h) of a commissioning with their ranges, and the clean air, m³/h."""
    body = one.body
    volume = body.get("volume")
    natural, clearance = body.get("natural"), body.get("clearance")
    errors = (body.get("natural_error") or 0.0, body.get("clearance_error") or 0.0)
    told: Told = {
        "extractor": one.extractor,
        "at": datetime.fromtimestamp(one.t // 1000).astimezone().isoformat(),
        "natural": _range(natural, errors[0]),
        "clearance": _range(clearance, errors[1]),
        "clean air": None,
        "volume": volume,
        "method": body.get("method") or "",
        "points": body.get("points"),
        "channel": body.get("channel") or "",
    }
    if volume is not None and natural is not None and clearance is not None:
        told["clean air"] = _range(volume * (clearance - natural), volume * hypot(*errors))
    return told


def _range(value: float | None, error: float) -> list[float] | None:
    if value is None:
        return None
    return [value, max(0.0, value - _PLAIN * error), value + _PLAIN * error]


def _words(found: Sequence[float] | None, unit: str) -> str:
    if found is None:
        return "not known"
    value, low, high = found
    between = f" ({figure(low)} to {figure(high)})" if high > low else ""
    return f"{figure(value, unit)}{between}"


def commissioning_pictures(told: Sequence[Told]) -> Iterator[Picture]:
    """Draw the loss rates of all commissionings side by side."""
    rows = [
        _row(f"{one['extractor']} {name}, {_day(one['at'])}", one[key])
        for one in told
        for key, name in (("natural", "off"), ("clearance", "on"))
        if one[key]
    ]
    if rows:
        title = "Loss rates with extraction off and on, and 95 % range"
        yield side_by_side(SideBySide("rates", title, "1/h", rows, log=False))


def _row(name: str, found: Sequence[float]) -> Row:
    value, low, high = found
    return Row(name, value, low, high, says=_words(found, "1/h"))


def _day(text: str) -> str:
    moment = datetime.fromisoformat(text)
    return f"{moment.day} {moment:%b %Y}"


def headline(told: Sequence[Told]) -> str:
    """Say the newest."""
    if not told:
        return "This room was never commissioned."
    newest = told[-1]
    said = f"With {newest['extractor']} the room loses {_words(newest['clearance'], '1/h')}"
    if newest["natural"]:
        said += f", by itself {_words(newest['natural'], '1/h')}"
    return f"{said}."


def commissioning_page(settings: Settings, told: Sequence[Told], made: int) -> Html:
    """Write the page; `made` is Unix ms."""
    return page(
        room=settings.room.name,
        title="Commissioning",
        verdict=headline(told),
        unseen=True,
        inside=_sections(told),
        notes=[_WELL_MIXED],
        made=made,
    )


def _sections(told: Sequence[Told]) -> Iterator[Html]:
    if not told:
        yield paragraph("Measure once how fast the room clears; later a clogged filter shows.")
        return
    newest = told[-1]
    clearance = newest["clearance"]
    yield answers(
        [
            ("How fast by itself?", _words(newest["natural"], "1/h"), "extraction off"),
            ("How fast with extraction?", _words(clearance, "1/h"), newest["extractor"]),
            ("How much clean air?", _words(newest["clean air"], "m³/h"), "delivered"),
            ("When is a tenth left?", _minutes(clearance), "after the last emission"),
        ]
    )
    pictures = list(commissioning_pictures(told))
    yield section("How do the rates compare?", *(drawn(one) for one in pictures))
    yield section("What was measured when?", _table(told))


def _minutes(clearance: Sequence[float] | None) -> str:
    """Say when a tenth of a rise is left: 60 ln 10 / rate minutes."""
    if not clearance or clearance[0] <= 0:
        return "not known"
    return figure(60 * 2.302585 / clearance[0], "min")


def _table(told: Sequence[Told]) -> Html:
    rows = [
        (
            f"{_day(one['at'])}, {one['extractor']}",
            _words(one["natural"], "1/h"),
            _words(one["clearance"], "1/h"),
            _words(one["clean air"], "m³/h"),
            f"{one['method'] or 'not told'}, {one['points'] or '?'} points, {one['channel']}",
        )
        for one in reversed(told)
    ]
    heads = ("commissioned", "by itself", "with extraction", "clean air", "how")
    return table(heads, rows)


def commissioning_text(told: Sequence[Told]) -> str:
    """Write the commissioning as a few lines."""
    lines = [headline(told)]
    lines += [f"Clean air: {_words(one['clean air'], 'm³/h')}." for one in told[-1:]]
    return "\n".join(lines)
