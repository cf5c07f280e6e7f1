"""Twin of a fan's tachometer wire: pulls the line low for half of every pulse.

Source: protocols.md section 24.
"""

import math

from ventwright_drivers.emulated.twin import Air, LineTwin

_NS = 1_000_000


class TachoTwin(LineTwin):
    """A fan that turns at the `fan_speed` (1/min) of its air."""

    models = ("tacho-gpio",)

    def __init__(self, air: Air, pulses: int = 2, bounce_us: int = 0) -> None:
        """Turn; every fall is followed by a spike that ends `bounce_us` later, if not 0."""
        self.air = air
        self._pulses = pulses
        self._bounce = bounce_us * 1000
        self._phase = 0.0  # in half pulses: the line is low after every odd one
        self._at: int | None = None

    def changes(self, now: int) -> list[tuple[int, bool]]:
        """Give what the line did since the last call, at most at the present speed."""
        start, self._at = now if self._at is None else self._at, now
        halves_an_ms = max(0.0, self.air("fan_speed")) * self._pulses / 30_000
        first, self._phase = self._phase, self._phase + halves_an_ms * (now - start)
        found: list[tuple[int, bool]] = []
        for half in range(math.floor(first) + 1, math.floor(self._phase) + 1):
            at = round((start + (half - first) / halves_an_ms) * _NS)
            found += self._fall(at) if half % 2 else [(at, True)]
        return found

    def _fall(self, at: int) -> list[tuple[int, bool]]:
        if not self._bounce:
            return [(at, False)]
        return [(at, False), (at + self._bounce // 2, True), (at + self._bounce, False)]
