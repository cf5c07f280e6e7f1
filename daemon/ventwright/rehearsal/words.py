"""Turns moments, events and messages of a rehearsal into lines of at most 100 columns.

Pure functions; colours are click's, which drops them where the output is no terminal.
"""

import textwrap
from typing import NamedTuple

import click

from ventwright.rehearsal.news import seconds_of
from ventwright.rehearsal.phone import Received
from ventwright.storage.reader import StoredEvent
from ventwright.words import decision

WIDTH = 100
CELLS = 30
_EIGHTHS = " ▏▎▍▌▋▊▉"
_FULL, _GHOST, _MARK, _MORE = "█", "░", "╎", "▸"


class Look(NamedTuple):
    """What a line of the course shows; PM2.5 in µg/m³."""

    second: int
    mean: float | None
    rise: float | None
    ghost: float
    """The rise that would be without extraction."""
    extracting: bool
    label: str


def clock(second: float) -> str:
    """Write a time since the start as +HH:MM:SS."""
    minutes, seconds = divmod(int(second), 60)
    return f"+{minutes // 60:02}:{minutes % 60:02}:{seconds:02}"


def bar(rise: float | None, ghost: float, setpoint: float, full: float) -> str:
    """Draw a rise, what it would be without extraction, and the setpoint; `full` fills it."""
    cells = CELLS / full
    eighths = round(max(0.0, min(rise or 0.0, full)) * cells * 8)
    drawn = _FULL * (eighths // 8) + (_EIGHTHS[eighths % 8] if eighths % 8 else "")
    drawn = drawn.ljust(min(CELLS, round(max(0.0, ghost) * cells)), _GHOST).ljust(CELLS)
    mark = round(setpoint * cells)
    if mark < CELLS and drawn[mark] in (" ", _GHOST):
        drawn = drawn[:mark] + _MARK + drawn[mark + 1 :]
    return drawn + (_MORE if max(rise or 0.0, ghost) > full else " ")


def _number(value: float | None, form: str) -> str:
    return f"{value:{form}}" if value is not None else "…"


def course_line(look: Look, fan: str, setpoint: float, full: float) -> str:
    """Write one line of the course; `fan` is the extractor's name."""
    drawn = bar(look.rise, look.ghost, setpoint, full)
    colour = "red" if look.rise is not None and look.rise >= setpoint else "green"
    fan = click.style(f"{fan} on", fg="cyan", bold=True) if look.extracting else f"{fan} off"
    time, mean = clock(look.second)[:6], _number(look.mean, ".1f")
    rise = _number(look.rise, "+.1f")
    start = f"{time}  PM2.5 {mean:>5}  rise {rise:>5}  "
    label = f"{' ' if look.extracting else ''} {look.label}" if look.label else ""
    return f"{start}{click.style(drawn, fg=colour)} {fan} {label}".rstrip()


def event_line(event: StoredEvent) -> str:
    """Write a decision and its reason."""
    return _block(f"{clock(seconds_of(event.t))} ┃ ", decision(event), bold=True)


def contact_line(second: int, closed: bool, label: str) -> str:
    """Tell that the relay's contact moved."""
    what = "closes: the extractor runs" if closed else "opens: the extractor stops"
    return _block(f"{clock(second)} ┃ ", f"the contact of {label} {what}", fg="cyan")


def message_lines(message: Received) -> str:
    """Write what the phone got."""
    title = _block("          ✉ ", message.title, fg="yellow", bold=True)
    return "\n".join([title, _block("            ", message.body, fg="yellow")])


def said_lines(text: str) -> str:
    """Write what somebody at the printer was told."""
    return _block("          » ", text, fg="magenta")


def _block(start: str, text: str, **style: object) -> str:
    gap = " " * (len(start) - 2) + ("┃ " if "┃" in start else "  ")
    lines = textwrap.wrap(text, WIDTH - len(start)) or [""]
    styled = [click.style(line, **style) for line in lines]  # type: ignore[arg-type]
    return start + f"\n{gap}".join(styled)


def paragraph(text: str) -> str:
    """Wrap a text to the width."""
    return textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False)
