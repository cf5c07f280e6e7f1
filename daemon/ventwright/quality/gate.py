"""A gate for parts whose wire has no checksum: no air changes as a damaged transfer does.

What the air of a room can do, seen through a part's own inertia (our figures):

temperature  a sensor in its housing follows over seconds: at most 10 °C at once and 0.5 °C a
             second after that, a heat gun included
humidity     breath on a bare sensor shows 40 %RH at once, and 5 %RH a second after that
pressure     a slammed door or a fan gives less than 1 hPa, a lift 0.4 hPa a floor; weather 3 hPa an
             hour: at most 5 hPa at once and 0.05 hPa a second after that

Gases and particles have no gate: a bottle that is opened or a print that begins may change them
a hundredfold between two samples. Their range is all that can be said.

A value beyond that is not believed until the next one bears it out, so a real step costs one
reading and a damaged one is never judged.
"""

from typing import NamedTuple

from ventwright_drivers.quantities import QUANTITIES


class Pace(NamedTuple):
    """How far a quantity can move: at once, and for each second more, in its unit."""

    at_once: float
    a_second: float


PACES = {
    "temperature": Pace(10, 0.5),
    "humidity": Pace(40, 5),
    "pressure": Pace(5, 0.05),
}


class _Track:
    """One quantity: the last value that was believed, and the last one at all, ms and steps."""

    def __init__(self, name: str) -> None:
        pace, per_unit = PACES[name], QUANTITIES[name].per_unit
        self._at_once = pace.at_once * per_unit
        self._a_ms = pace.a_second * per_unit / 1000
        self._believed: tuple[int, int] | None = None
        self._latest: tuple[int, int] | None = None

    def _near(self, t: int, step: int, other: tuple[int, int]) -> bool:
        return abs(step - other[1]) <= self._at_once + self._a_ms * (t - other[0])

    def believe(self, t: int, step: int) -> bool:
        """Tell whether a value at `t` ms can be true, by itself or as the second of its kind."""
        latest, self._latest = self._latest, (t, step)
        good = self._believed is None or self._near(t, step, self._believed)
        if good or (latest is not None and self._near(t, step, latest)):
            self._believed = (t, step)
            return True
        return False


class Gate:
    """The gate of one part."""

    def __init__(self, names: tuple[str, ...]) -> None:
        """Believe whatever comes first; `names` are the quantities, in order."""
        self._tracks = [(n, _Track(name)) for n, name in enumerate(names) if name in PACES]

    def doubts(self, t: int, steps: tuple[int | None, ...], marks: bytes) -> list[int]:
        """Give the places of good values that the air cannot have reached by `t` ms."""
        return [
            place
            for place, track in self._tracks
            if not marks[place] and not track.believe(t, steps[place])  # type: ignore[arg-type]
        ]
