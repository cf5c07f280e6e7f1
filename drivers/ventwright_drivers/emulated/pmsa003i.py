"""Twin of the PMSA003I: holds the newest frame, gives it to whoever reads, hears no command.

Lays the frame out by itself. Source: protocols.md section 2.
"""

from ventwright_drivers.emulated.twin import Air, I2CTwin, not_acknowledged

_MASS = ("pm1", "pm2_5", "pm10")
_COUNTS = ("n0_3", "n0_5", "n1", "n2_5", "n5", "n10")
_PERIOD_MS = 2300


def _words(values: list[float]) -> bytes:
    return b"".join(min(0xFFFF, max(0, round(value))).to_bytes(2, "big") for value in values)


class Pmsa003ITwin(I2CTwin):
    """A PMSA003I."""

    models = ("pmsa003i",)
    _next = 0
    _frame = b""

    def __init__(
        self, air: Air, address: int = 0x12, *, powered_at: int = 0, power_up_ms: int = 0
    ) -> None:
        """Measure `air`; acknowledge nothing for `power_up_ms` from `powered_at` (ms) on."""
        self.air = air
        self.address = address
        self.error = 0
        """The error byte of frames to come."""
        self._ready_at = powered_at + power_up_ms

    def write(self, data: bytes, now: int) -> None:  # noqa: ARG002
        """Refuse: the part takes no command."""
        raise not_acknowledged()

    def read(self, size: int, now: int) -> bytes:
        """Give the newest frame, the same one until the next is measured."""
        if now < self._ready_at:
            raise not_acknowledged()
        if not self._frame or now >= self._next:
            self._frame, self._next = self._measured(), now + _PERIOD_MS
        return self._frame[:size]

    def _measured(self) -> bytes:
        mass = [self.air(name) for name in _MASS]
        counts = [self.air(name) * 100 for name in _COUNTS]
        body = b"\x42\x4d\x00\x1c" + _words([*mass, *mass, *counts]) + bytes((0x97, self.error))
        return body + (sum(body) & 0xFFFF).to_bytes(2, "big")
