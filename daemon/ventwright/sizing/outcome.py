"""What a room comes to: levels, waiting times, and the air that a limit needs.

Every level is a rise above what the room shows anyway. Mixing factor K: a poorly mixed room is
taken as one with 1/K of its losses, which makes levels and times K times what they would be.
Source: mixing/zone.py.
"""

from typing import NamedTuple

from ventwright.mixing.filters import CLASSES, EN_1822
from ventwright.mixing.zone import flow_for, rise_after, steady, time_to_fall
from ventwright.sizing.task import Range, Task

_SHARES = {"tenth": 0.1, "hundredth": 0.01, "thousandth": 0.001}


class Course(NamedTuple):
    """How one room does."""

    clean_air: float
    """m³/h, beside the room's own losses."""
    changes: float
    """All losses together, 1/h."""
    steady: Range
    """Where it would end if printing went on, amount per m³."""
    at_end: Range
    """At the end of a print."""
    wait: Range | None
    """Hours after the print until the rise is down to the limit; None without a limit."""
    left: dict[str, float]
    """Hours until a tenth, a hundredth and a thousandth of the rise are left."""


class Need(NamedTuple):
    """The clean air that keeps a limit even if printing goes on."""

    total: Range
    """m³/h, the room's own losses in it."""
    beside: Range
    """m³/h on top of them, at least 0."""
    changes: Range
    """Of `beside`, 1/h."""


class Filter(NamedTuple):
    """A filter class at the flow that is there, and the flow that it would need."""

    name: str
    single_pass: float
    clean_air: float | None
    """m³/h at the flow of the task; None where there is none."""
    flow: Range | None
    """m³/h through it that keeps the limit; None without one."""


def course(task: Task) -> Course:
    """Work out how a room does."""
    rate = task.total_rate / task.mixing
    ends = [steady(one, task.volume, rate) for one in task.into_room]
    after = [rise_after(task.hours, task.volume, rate, one) for one in task.into_room]
    wait = None if task.limit is None else Range(*(_wait(one, task.limit, rate) for one in after))
    left = {name: time_to_fall(share, rate) for name, share in _SHARES.items()}
    return Course(task.clean_air, task.total_rate, Range(*ends), Range(*after), wait, left)


def _wait(level: float, limit: float, rate: float) -> float:
    return time_to_fall(min(1.0, limit / level), rate) if level else 0.0


def need(task: Task) -> Need | None:
    """Tell what air the limit needs; None without one."""
    if task.limit is None:
        return None
    total = Range(*(flow_for(task.limit, one, task.mixing) for one in task.into_room))
    own = task.volume * task.loss_rate
    beside = Range(*(max(0.0, flow - own) for flow in total))
    return Need(total, beside, beside.times(1 / task.volume))


def filters(task: Task) -> list[Filter]:
    """Tell what each class of EN 1822 up to H14 would do: beyond E12 only the flow matters."""
    wanted = need(task)
    names = [name for name in EN_1822 if name.startswith(("E", "H"))]
    return [
        Filter(
            name,
            CLASSES[name],
            task.filter_flow * CLASSES[name] if task.filter_flow else None,
            wanted.beside.times(1 / CLASSES[name]) if wanted else None,
        )
        for name in names
    ]


def variants(task: Task) -> dict[str, Task]:
    """Give the same with one thing changed, by what is said of it."""
    return {
        "as it is": task,
        "one printer more": task._replace(printers=task.printers + 1),
        "a room twice as large": _larger(task),
        "without extraction": task.still(),
    }


def _larger(task: Task) -> Task:
    """Double the room; its own losses stay the same in 1/h, flows in m³/h."""
    return task._replace(volume=2 * task.volume)
