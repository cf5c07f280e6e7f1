"""A bus that knows its lines: every write and read in order, byte for byte, none left over."""

import ctypes
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from fakes import FakeClock, wiring
from ventwright_drivers.part import Wiring

Pair = tuple[str, str]
"""What the driver must write, and what it is then given to read ("" = it must not read)."""


class ScriptedBus:
    def __init__(self, address: int, pairs: tuple[Pair, ...]) -> None:
        self.address = address
        self.script = [(flag, bytes.fromhex(p[flag])) for p in pairs for flag in (0, 1) if p[flag]]

    def i2c_rdwr(self, *messages: Any) -> None:
        for message in messages:
            self.play(message)

    def play(self, message: Any) -> None:
        assert message.addr == self.address
        flag, data = self.script.pop(0)
        assert message.flags == flag
        if flag:
            assert message.len == len(data)
            ctypes.memmove(message.buf, data, len(data))
        else:
            assert bytes(message).hex(" ") == data.hex(" ")

    def close(self) -> None:
        pass


@pytest.fixture
def script() -> Iterator[Callable[..., Wiring]]:
    made: list[ScriptedBus] = []

    def make(address: int, *pairs: Pair) -> Wiring:
        made.append(ScriptedBus(address, pairs))
        return wiring(FakeClock(), open_bus=lambda _: made[-1])

    yield make
    assert [bus.script for bus in made if bus.script] == []
