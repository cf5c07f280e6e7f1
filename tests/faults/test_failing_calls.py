"""Each call of each seam fails, once and for ever: serial, I2C, relay, clock.

The errors are those that pyserial, smbus2 and the system raise. A call that fails for ever is
healed at last, to see that all comes back. SQLite is tried by test_failing_statements, what goes
by HTTP in exporting/ and notifying/.
"""

import errno
import os
import termios
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import serial

from failing import Failing, every_call
from faults.lockstep_house import COUNTED, END, HEALED, SECOND, House
from ventwright.keeper.watch import LOST_AFTER_MS
from ventwright.sampling.relay_hand import RETRY_MS
from ventwright_drivers.errors import NoAnswer
from ventwright_drivers.part import Part
from ventwright_drivers.relay.modbus import ModbusRelay
from ventwright_drivers.serial.mh_z19 import MhZ19B
from ventwright_drivers.serial.pms import Pms5003

Error = Callable[[], Exception]


def system(number: int) -> Error:
    return lambda: OSError(number, os.strerror(number))


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """No warm-up; and a core that fails fails the test, not the process of all tests."""
    monkeypatch.setattr(Pms5003, "warm_up_ms", 0)
    monkeypatch.setattr("ventwright.keeper.process.os.kill", lambda *_: None)


def unharmed(house: House, but: str) -> None:
    """See that all parts but one were read at their pace, and that extraction began in time."""
    for name, times in house.readings().items():
        if name != but:
            pace = 3 * SECOND if name in ("bench", "door") else 2100
            assert times[0] < pace
            assert END - times[-1] < 2 * pace
            assert all(b - a < pace for a, b in pairwise(times)), name
    ((_, _, alarm),) = house.changes("alarm")
    ((began, _, to),) = house.changes("extractor")
    assert (alarm, to) == ("raised", "extracting")
    assert began < 8 * SECOND
    assert house.contact
    assert house.changes("store") == []
    assert [what for _, _, what in house.changes("keeper")] == ["started", "stopped"]


def lives(folder: Path, name: str, error: Error, for_ever: bool, bench: str, see: Any) -> int:
    """Play a life for each call that may fail; `see` is what must hold of each."""

    def live(at: int) -> Failing:
        seam = Failing(at, for_ever, error)
        house = House(folder / str(at), bench, **{name: seam.strike})
        house.play(seam)
        see(house, seam)
        return seam

    return every_call(live)


def sees_part(part: str, for_ever: bool) -> Callable[[House, Failing], None]:
    def see(house: House, seam: Failing) -> None:
        unharmed(house, part)
        told = house.changes("part")
        times = house.readings()[part]
        if for_ever and seam.struck:
            (lost, gone, first), (back, same, second) = told
            assert (gone, first, same, second) == (part, "lost", part, "back")
            assert LOST_AFTER_MS <= lost <= COUNTED + Part.silence_ms + LOST_AFTER_MS + 2100
            assert not [t for t in times if lost < t < HEALED]
            assert any(abs(t - back) < 10 for t in times)
        else:
            assert told == []
            assert all(b - a < 8 * SECOND for a, b in pairwise(times))
        assert END - times[-1] < 5 * SECOND

    return see


SERIAL_READ = [
    system(errno.EIO),
    lambda: termios.error(errno.EIO, "Input/output error"),
    lambda: TypeError("'NoneType' object cannot be interpreted as an integer"),
]
SERIAL_WRITE = [
    lambda: serial.SerialException("write failed: [Errno 5] Input/output error"),
    lambda: serial.SerialTimeoutException("Write timeout"),
]


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("error", SERIAL_READ)
def test_serial_read(tmp_path: Path, error: Error, for_ever: bool) -> None:
    see = sees_part("bench", for_ever)
    assert lives(tmp_path, "read", error, for_ever, "pms5003", see) >= 4


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("error", SERIAL_WRITE)
def test_serial_write(
    tmp_path: Path, error: Error, for_ever: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(MhZ19B, "warm_up_ms", 0)
    see = sees_part("bench", for_ever)
    assert lives(tmp_path, "write", error, for_ever, "mh-z19b", see) >= 5


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("number", [errno.EREMOTEIO, errno.EIO])
def test_i2c(tmp_path: Path, number: int, for_ever: bool) -> None:
    see = sees_part("air", for_ever)
    assert lives(tmp_path, "i2c", system(number), for_ever, "pms5003", see) >= 10


def sees_relay(for_ever: bool) -> Callable[[House, Failing], None]:
    """The relay's failure is told at once and once, it is retried, and it obeys in the end."""

    def see(house: House, seam: Failing) -> None:
        unharmed(house, "")
        told = house.changes("relay")
        if not seam.struck:
            assert told == []
            return
        (failed, _, first), (back, _, second) = told
        assert (first, second) == ("failed", "back")
        assert failed <= COUNTED
        if for_ever:
            assert seam.struck >= 4
            assert HEALED <= back <= HEALED + max(RETRY_MS) + SECOND
        else:
            assert back - failed <= RETRY_MS[0] + SECOND

    return see


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize(
    ("name", "error"), [("relay_read", SERIAL_READ[0]), ("relay_write", SERIAL_WRITE[0])]
)
def test_relay_port(tmp_path: Path, name: str, error: Error, for_ever: bool) -> None:
    assert lives(tmp_path, name, error, for_ever, "pms5003", sees_relay(for_ever)) >= 8


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("call", ["switch", "state"])
def test_relay(tmp_path: Path, call: str, for_ever: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    obeying = getattr(ModbusRelay, call)

    def live(at: int) -> Failing:
        seam = Failing(at, for_ever, lambda: NoAnswer("/dev/relay sent nothing for 0.5 s"))

        def failing(relay: ModbusRelay, *words: bool) -> Any:
            seam.strike()
            return obeying(relay, *words)

        monkeypatch.setattr(ModbusRelay, call, failing)
        house = House(tmp_path / str(at))
        house.play(seam)
        sees_relay(for_ever)(house, seam)
        return seam

    assert every_call(live) >= 4


@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize("name", ["offset", "right"])
def test_clock(tmp_path: Path, name: str, for_ever: bool) -> None:
    """Labels wait for the clock; nothing else does, and nobody is disturbed."""

    def see(house: House, _: Failing) -> None:
        unharmed(house, "")
        assert house.changes("part") == house.changes("relay") == []
        assert house.settled()

    error = system(errno.EACCES)
    assert lives(tmp_path, name, error, for_ever, "pms5003", see) >= 1
