"""The emulated AA dust sensor: its settings outlast sleep, and asleep it hears only 06.

Source: protocols.md section 3.
"""

from ventwright_drivers.emulated.twin import Air, SerialTwin

WORK_MS = 30_000
_MODE, _QUERY, _ID, _WORK, _FIRMWARE, _PERIOD = 0x02, 0x04, 0x05, 0x06, 0x07, 0x08


def _tenths(value: float) -> bytes:
    return min(max(round(value * 10), 0), 9999).to_bytes(2, "little")


class Sds011Twin(SerialTwin):
    """An SDS011 with a device id, of which it may be given any."""

    models = ("sds011",)

    def __init__(
        self,
        air: Air,
        device: bytes = b"\xa1\x60",
        period: int = 0,
        active: bool = True,
        awake: bool = True,
        reply_ms: int = 100,
    ) -> None:
        """Power up with settings stored earlier: working period (min), mode, sleep."""
        self.device = device
        self.period = period
        self.active = active
        self.awake = awake
        self._air = air
        self._reply_ms = reply_ms
        self._heard = b""
        self._replies: list[tuple[int, bytes]] = []
        self._tick: int | None = None
        self._cycle = 0  # when the present working period began

    def due(self) -> int | None:
        """Tell when the next frame comes; 0 at first, for the twin learns the time by `emit`."""
        if self._tick is None:
            return 0
        times = [at for at, _ in self._replies]
        if self.awake and self.active:
            times.append(self._working_from(self._tick))
        return min(times, default=None)

    def emit(self, now: int) -> bytes:
        """Give replies that are due, and one measurement a second in active mode."""
        self._power_up(now)
        out = b"".join(frame for at, frame in self._replies if at <= now)
        self._replies = [(at, frame) for at, frame in self._replies if at > now]
        if self._tick is not None and self._tick <= now:
            self._tick = max(self._tick, now - 999) + 1000
            if self.active and self._works(now):
                out += self._measurement()
        return out

    def receive(self, data: bytes, now: int) -> None:
        """Obey whole commands with a right sum that are for this device or for any."""
        self._power_up(now)
        self._heard += data
        while len(self._heard) >= 19:
            frame = self._heard[:19]
            body = frame[2:17]
            valid = frame[:2] == b"\xaa\xb4" and frame[17:] == bytes((sum(body) & 0xFF, 0xAB))
            self._heard = self._heard[19 if valid else 1 :]
            if valid and body[13:] in (self.device, b"\xff\xff"):
                self._obey(body, now)

    def _power_up(self, now: int) -> None:
        if self._tick is None:
            self._tick = now + 1000
            self._cycle = now

    def _works(self, now: int) -> bool:
        return self.awake and self._working_from(now) == now

    def _working_from(self, now: int) -> int:
        """Give the first time from `now` on at which the part is not in its own pause."""
        length = self.period * 60_000
        phase = (now - self._cycle) % length if length else 0
        return now if phase < WORK_MS else now - phase + length

    def _obey(self, body: bytes, now: int) -> None:
        number, write, value = body[0], body[1] == 1, body[2]
        if number == _WORK:
            self._work(write, value, now)
        elif not self._works(now):
            return
        elif number == _QUERY:
            self._replies.append((now + self._reply_ms, self._measurement()))
        elif number == _ID:
            self.device = body[11:13]
            self._reply(now, number)
        elif number == _FIRMWARE:
            self._reply(now, number, 15, 7, 10)
        elif number in (_MODE, _PERIOD):
            self._set(number, write, value, now)

    def _work(self, write: bool, value: int, now: int) -> None:
        if write and value in (0, 1):
            if not self._works(now):
                self._cycle = now
            self.awake = value == 1
        self._reply(now, _WORK, int(write), int(self.awake))

    def _set(self, number: int, write: bool, value: int, now: int) -> None:
        if write and number == _MODE and value in (0, 1):
            self.active = value == 0
        if write and number == _PERIOD and value <= 30:
            self.period, self._cycle = value, now
        stored = int(not self.active) if number == _MODE else self.period
        self._reply(now, number, int(write), stored)

    def _reply(self, now: int, *values: int) -> None:
        frame = self._frame(0xC5, bytes(values).ljust(4, b"\0"))
        self._replies.append((now + self._reply_ms, frame))

    def _measurement(self) -> bytes:
        return self._frame(0xC0, _tenths(self._air("pm2_5")) + _tenths(self._air("pm10")))

    def _frame(self, kind: int, values: bytes) -> bytes:
        body = values + self.device
        return bytes((0xAA, kind, *body, sum(body) & 0xFF, 0xAB))
