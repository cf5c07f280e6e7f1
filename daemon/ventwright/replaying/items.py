"""What a log is to the player: keepers that began, what they were given, what they left behind.

Times are ms of the log's own clock, which begins anew with every boot; `offset` makes Unix ms.
"""

from collections.abc import Callable
from typing import Any, NamedTuple

from ventwright.events import Event
from ventwright.keeper.core import Core

Saved = dict[str, Any]


class Start(NamedTuple):
    """A keeper began at `t` ms; `fill` gives its fresh core what a keeper restores."""

    t: int
    offset: int
    boot: str
    fill: Callable[[Core, Saved | None], None]
    carries: bool
    """Whether state of the keeper before was taken back."""


class Save(NamedTuple):
    """What the keeper saved at `t` ms is what the next one takes back."""

    t: int


class Until(NamedTuple):
    """The keeper lived until `t` ms at least."""

    t: int
    decided: bool = False
    """Whether it decided something then: all that was due by then was done."""


Item = list[Event] | Start | Save | Until
"""Events are in the order of their times, many at once."""
