"""Says what a sized room comes to, in words and as JSON. Knows tasks and outcomes only."""

from collections.abc import Sequence
from math import inf, isfinite
from typing import Any

from ventwright.sizing.outcome import Course, Filter, Need, course, filters, need, variants
from ventwright.sizing.task import Range, Task

WELL_MIXED = (
    "All of this takes the room's air for well mixed: the same everywhere at once. Beside the "
    "printer it is worse, above all in the first minutes; a mixing factor allows for dead corners."
)
CAUTIONS = (
    "Ducts, make-up air, discharge and combustion appliances are for licensed people and local "
    "codes: extraction to outside can pull flue gases back out of a stove or boiler.",
    "Clean by these figures is not proven clean: most particles of a print are finer than optical "
    "parts see. Certified smoke and CO alarms stay.",
)
CARBON = (
    "Recirculating through carbon removes little vapour when the bed is small: a third at best has "
    "been seen of a small room cleaner (common practice, no source)."
)
SMALL_CHAMBERS = (
    "Published emission differs by up to three orders of magnitude between filaments, and rates "
    "from small chambers may be ten times too low for a room: size for the upper end, then measure."
)
PARTICLES_ONLY = "A particle filter takes no vapour; it is counted as nothing here."

_PER_CM3 = 1e6


def unit_of(task: Task) -> tuple[str, float]:
    """Give the unit of levels, and by what an amount per m³ is divided for it."""
    return ("1/cm³", _PER_CM3) if task.unit == "1" else ("µg/m³", 1.0)


def lines(task: Task, source: str, limit_says: str) -> list[str]:
    """Say all of it, a line each."""
    said = [*_given(task, source, limit_says), ""]
    for name, changed in variants(task).items():
        if name != "without extraction" or task != task.still():
            said += _course(name, changed, course(changed))
    if (wanted := need(task)) is not None:
        said += ["", *_need(task, wanted)]
    if task.single_pass and (wanted or task.filter_flow):
        said += ["", *_filters(filters(task))]
    return said


def _given(task: Task, source: str, limit_says: str) -> list[str]:
    unit, scale = unit_of(task)
    amount = "1/h" if task.unit == "1" else "µg/h"
    said = [
        f"A room of {task.volume:g} m³ that loses {task.loss_rate:.3g} /h by itself"
        + (f", mixing factor {task.mixing:g}" if task.mixing != 1 else ""),
        f"Emission: {_range(task.emission)} {amount} {_each(task.printers)}, prints of "
        f"{_hours(task.hours)}",
        f"  from: {source}",
    ]
    if task.captured:
        said.append(f"  of which an enclosure's exhaust takes {task.captured:.0%} at the source")
    if task.limit is not None:
        said.append(f"Limit: a rise of {task.limit / scale:.4g} {unit} ({limit_says})")
    said.append(f"Clean air: {_air(task)}")
    return said


def _each(printers: int) -> str:
    return "from one printer" if printers == 1 else f"from each of {printers} printers"


def _air(task: Task) -> str:
    parts = [f"{task.exhaust:g} m³/h to the outside"] if task.exhaust else []
    if task.filter_flow:
        parts.append(
            f"{task.filter_flow:g} m³/h through a filter that takes {100 * task.single_pass:.5g} %"
        )
    return ", ".join(parts) or "none but the room's own losses"


def _course(name: str, task: Task, found: Course) -> list[str]:
    unit, scale = unit_of(task)
    rises = f"{_range(found.steady, scale)} {unit}" if isfinite(found.steady.high) else "ever more"
    said = [
        f"{name}: losses together {found.changes:.3g} /h; {_range(found.at_end, scale)} "
        f"{unit} at the end of a print, {rises} if it went on",
    ]
    left = found.left
    fall = "  it never falls"
    if isfinite(left["tenth"]):
        fall = f"  a tenth is left after {_hours(left['tenth'])}"
        fall += f", a hundredth after {_hours(left['hundredth'])}"
    if found.wait is not None:
        fall += f"; wait before going in: {_waiting(found.wait)}"
    return [*said, fall]


def _waiting(wait: Range) -> str:
    if wait.high == 0:
        return "none, the limit is kept"
    if wait.low == wait.high:
        return _hours(wait.high)
    return f"{_hours(wait.low) if wait.low else 'none'} to {_hours(wait.high)}"


def _need(task: Task, wanted: Need) -> list[str]:
    if wanted.beside.high == 0:
        return ["The room's own losses keep the limit, even if printing goes on."]
    return [
        f"To keep the limit even if printing goes on: {_range(wanted.beside)} m³/h of clean air "
        f"beside the room's own {task.volume * task.loss_rate:.3g} m³/h, "
        f"{_range(wanted.changes)} air changes an hour",
    ]


def _filters(found: Sequence[Filter]) -> list[str]:
    said = ["Filter classes (EN 1822, least efficiency at the worst particle size):"]
    for one in found:
        at = "" if one.clean_air is None else f", {one.clean_air:.4g} m³/h of clean air"
        needs = "" if one.flow is None else f", keeps the limit at {_range(one.flow)} m³/h"
        said.append(f"  {one.name}: {one.single_pass:.5g} in one pass{at}{needs}")
    return [*said, "  so the flow decides, hardly the class; a leak past the filter costs more."]


def _range(one: Range, scale: float = 1.0) -> str:
    low, high = (_number(end / scale) for end in one)
    return low if low == high else f"{low} to {high}"


def _number(value: float) -> str:
    if not isfinite(value):
        return "without end"
    return f"{value:.0f}" if 100 <= value < 1e6 else f"{value:.3g}"


def _hours(hours: float) -> str:
    if hours == inf:
        return "never"
    return f"{60 * hours:.0f} min" if hours < 3 else f"{hours:.1f} h"


def told(task: Task, source: str, limit_says: str) -> dict[str, Any]:
    """Tell all of it as JSON; times in h, flows in m³/h, levels in the unit that is told."""
    unit, scale = unit_of(task)
    wanted = need(task)
    return {
        "volume": task.volume,
        "loss_rate": task.loss_rate,
        "emission": {**_ends(task.emission), "unit": "1/h" if task.unit == "1" else "µg/h"},
        "source": source,
        "limit": None if task.limit is None else {"value": task.limit / scale, "says": limit_says},
        "level_unit": unit,
        "mixing": task.mixing,
        "cases": {name: _case(course(one), scale) for name, one in variants(task).items()},
        "needed": None if wanted is None else {k: _ends(v) for k, v in wanted._asdict().items()},
        "filters": [_filter(one) for one in filters(task)],
    }


def _case(found: Course, scale: float) -> dict[str, Any]:
    return {
        "clean_air": found.clean_air,
        "loss_rate": found.changes,
        "steady": _ends(found.steady, scale),
        "at_end": _ends(found.at_end, scale),
        "wait": None if found.wait is None else _ends(found.wait),
        **{f"{name}_left": _finite(hours) for name, hours in found.left.items()},
    }


def _filter(one: Filter) -> dict[str, Any]:
    flow = None if one.flow is None else _ends(one.flow)
    return {"class": one.name, "single_pass": one.single_pass, "clean_air": one.clean_air,
            "flow": flow}  # fmt: skip


def _ends(one: Range, scale: float = 1.0) -> dict[str, float | None]:
    return {"low": _finite(one.low / scale), "high": _finite(one.high / scale)}


def _finite(value: float) -> float | None:
    """JSON knows no infinity: what never ends is null."""
    return value if isfinite(value) else None
