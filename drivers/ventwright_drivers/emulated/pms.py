"""Emulated 42 4D particle counters: modes, sleep, and the habits of the real ones.

Lays its frames out by itself, so that it checks the driver's table. Source: protocols.md
section 2; what is marked "from memory" there is so here.
"""

from typing import ClassVar

from ventwright_drivers.emulated.twin import Air, SerialTwin

STABLE_MS = 2300
CHANGING_MS = 800
DEAF_MS = 2000
_ZERO_FRAMES = 2  # after start, wake or a change of mode
_MASS = ("pm1", "pm2_5", "pm10")
_COUNTS = ("n0_3", "n0_5", "n1", "n2_5", "n5", "n10")
_PASSIVE, _READ, _SLEEP = 0xE1, 0xE2, 0xE4


def _summed(frame: bytes) -> bytes:
    return frame + (sum(frame) & 0xFFFF).to_bytes(2, "big")


def _word(value: float) -> bytes:
    return min(max(round(value), 0), 0xFFFF).to_bytes(2, "big")


def _signed(value: float) -> bytes:
    return min(max(round(value), -0x8000), 0x7FFF).to_bytes(2, "big", signed=True)


def _factory(mass: float) -> float:
    """Give the "CF=1" value: as the atmospheric one up to 30 µg/m³, more above (from memory)."""
    return mass if mass <= 30 else 1.5 * mass - 15


class _PmsTwin(SerialTwin):
    """What the family shares; a subclass adds `_tail`, all that follows the mass words."""

    obeys: ClassVar[bool] = True

    def __init__(self, air: Air, version: int = 0x97, error: int = 0) -> None:
        """Power up; `error` is the error byte of frames to come."""
        self.error = error
        self.version = version
        self._air = air
        self._heard = b""
        self._out = b""
        self._next: int | None = 0
        self._born = False
        self._asleep = False
        self._passive = False
        self._deaf_until = 0
        self._zeros = _ZERO_FRAMES
        self._last = 0.0

    def due(self) -> int | None:
        """Tell when the next frame comes; 0 at first, for the twin learns the time by `emit`."""
        return 0 if self._out or not self._born else self._next

    def emit(self, now: int) -> bytes:
        """Give frames and acknowledgements; of frames that nobody collected only the newest."""
        self._power_up(now)
        if self._next is not None and self._next <= now:
            self._out += self._frame()
            period = self._period()
            self._next = max(self._next, now - period + 1) + period
        out, self._out = self._out, b""
        return out

    def receive(self, data: bytes, now: int) -> None:
        """Obey whole commands with a right sum; nothing is heard for 2 s after sleep and wake."""
        self._power_up(now)
        if not self.obeys or now < self._deaf_until:
            return
        self._heard += data
        while len(self._heard) >= 7:
            frame = self._heard[:7]
            valid = frame[:2] == b"\x42\x4d" and _summed(frame[:5]) == frame
            self._heard = self._heard[7 if valid else 1 :]
            if valid:
                self._obey(frame[2], frame[4], now)
            if now < self._deaf_until:
                self._heard = b""

    def _power_up(self, now: int) -> None:
        if not self._born:
            self._born = True
            self._next = now + STABLE_MS

    def _obey(self, command: int, value: int, now: int) -> None:
        if self._asleep:
            if command == _SLEEP and value == 1:
                self._wake(now)
        elif command == _PASSIVE and value in (0, 1):
            self._change_mode(value == 0, now)
        elif command == _READ and self._passive:
            self._out += self._frame()
        elif command == _SLEEP and value == 0:
            self._sleep(now)

    def _change_mode(self, passive: bool, now: int) -> None:
        self._acknowledge(_PASSIVE, int(not passive))
        if passive != self._passive:
            self._zeros = _ZERO_FRAMES
            self._passive = passive
            self._next = None if passive else now + STABLE_MS

    def _sleep(self, now: int) -> None:
        self._acknowledge(_SLEEP, 0)
        self._asleep = True
        self._next = None
        self._deaf_until = now + DEAF_MS

    def _wake(self, now: int) -> None:
        self._asleep = self._passive = False  # passive mode does not outlast sleep
        self._zeros = _ZERO_FRAMES
        self._next = now + STABLE_MS
        self._deaf_until = now + DEAF_MS

    def _acknowledge(self, command: int, value: int) -> None:
        self._out += _summed(bytes((0x42, 0x4D, 0, 4, command, value)))

    def _period(self) -> int:
        now, before = self._air("pm2_5"), self._last
        self._last = now
        return CHANGING_MS if abs(now - before) > max(10.0, before / 10) else STABLE_MS

    def _frame(self) -> bytes:
        body = self._mass() + self._tail()
        if self._zeros:
            self._zeros -= 1
            body = bytes(len(body) - 2) + body[-2:]
        return _summed(b"\x42\x4d" + (len(body) + 2).to_bytes(2, "big") + body)

    def _mass(self) -> bytes:
        masses = [self._air(name) for name in _MASS]
        return b"".join(_word(v) for v in (*map(_factory, masses), *masses))

    def _tail(self) -> bytes:
        return self._counts() + bytes((self.version, self.error))

    def _counts(self, sizes: int = 6) -> bytes:
        return b"".join(_word(self._air(name) * 100) for name in _COUNTS[:sizes])

    def _climate(self) -> bytes:
        return _signed(self._air("temperature") * 10) + _word(self._air("humidity") * 10)


class PmsTwin(_PmsTwin):
    """A part with masses and counts."""

    models = ("pms5003", "pms7003", "pmsa003")


class Pms5003STwin(_PmsTwin):
    """A part with formaldehyde where others have version and error (from memory)."""

    models = ("pms5003s",)

    def _tail(self) -> bytes:
        return self._counts() + _word(self._air("hcho"))


class Pms5003TTwin(_PmsTwin):
    """A part with temperature and humidity in place of the two coarsest counts."""

    models = ("pms5003t",)

    def _tail(self) -> bytes:
        return self._counts(4) + self._climate() + bytes((self.version, self.error))


class Pms5003STTwin(_PmsTwin):
    """A part with all of it, in 40 bytes."""

    models = ("pms5003st",)

    def _tail(self) -> bytes:
        rest = _word(self._air("hcho")) + self._climate() + bytes(2)
        return self._counts() + rest + bytes((self.version, self.error))


class Pms3003Twin(_PmsTwin):
    """A part with masses only, which hears nothing."""

    models = ("pms3003",)
    obeys = False

    def _tail(self) -> bytes:
        return bytes(4) + bytes((self.version, self.error))
