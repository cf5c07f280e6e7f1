"""The serial gas and particle parts against libraries that others wrote.

Neither side shares a line with the other: what we got wrong in both driver and twin shows here.
"""

import asyncio
import struct
import sys
from collections.abc import Iterator
from typing import Any

import pytest
import sds011
from hypothesis import given
from hypothesis import strategies as st
from mhz19_async.mhz19 import MHZ19Protocol
from shdlc_sps30 import Sps30ShdlcDevice

from ventwright_drivers.clock import SystemClock
from ventwright_drivers.emulated.nine_bytes import MhZ19BTwin, MhZ19CTwin
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.sds011 import Sds011Twin
from ventwright_drivers.emulated.sps30 import Sps30Twin
from ventwright_drivers.serial import mh_z19, nine_bytes, shdlc
from ventwright_drivers.serial import sps30 as ours
from ventwright_drivers.serial.sds011 import command

CODES = MHZ19Protocol.Codes


class Listener(MHZ19Protocol):
    """Their parser, keeping its events; what it sends goes to `sent`."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        super().__init__(loop)
        self.events: list[dict[str, Any]] = []
        self.sent = b""
        self.connection_made(self)  # type: ignore[arg-type]

    def write(self, data: bytes) -> None:
        self.sent += data

    def event_received(self, event: dict[str, Any]) -> None:
        self.events.append(event)


@pytest.fixture(scope="module")
def loop() -> Iterator[asyncio.AbstractEventLoop]:
    made = asyncio.new_event_loop()
    yield made
    made.close()


@given(body=st.binary(min_size=6, max_size=6), cut=st.integers(0, 9), before=st.binary(max_size=4))
def test_their_co2_is_ours(
    loop: asyncio.AbstractEventLoop, body: bytes, cut: int, before: bytes
) -> None:
    listener = Listener(loop)
    frame = b"\xff\x86" + body
    frame += bytes((nine_bytes.checksum(frame[1:]),))
    listener.data_received(frame[:cut])
    listener.data_received(frame[cut:])
    ppm = mh_z19.sample(frame).values[0]
    assert (listener.events[0]["CO2"] or None) == ppm  # 0 is no value to us


def test_they_read_our_twins_and_hear_them_confirm(loop: asyncio.AbstractEventLoop) -> None:
    for twin, confirmed in ((MhZ19BTwin, []), (MhZ19CTwin, [True])):
        part = twin({"co2": 1234.0}.__getitem__, 0)
        listener = Listener(loop)
        part.emit(0)
        listener.send_command(CODES.SET_ABC, False)
        listener.send_command(CODES.GET_CLAMPED_CO2_TEMPERATURE)
        part.receive(listener.sent, 180_000)
        listener.data_received(b"\x86\xff" + part.emit(180_000))
        acks = [event["ack"] for event in listener.events if "ack" in event]
        values = [event for event in listener.events if "CO2" in event]
        assert acks == confirmed
        assert [(v["CO2"], v["temperature"]) for v in values] == [(1234, 25)]
        assert part.self_calibration is False


@pytest.mark.parametrize(
    ("theirs", "mine"),
    [
        ((CODES.SET_ABC, True), (0x79, 0xA0)),
        ((CODES.SET_ABC, False), (0x79,)),
        ((CODES.GET_CLAMPED_CO2_TEMPERATURE,), (0x86,)),
        ((CODES.SET_RANGE, 5000), (0x99, 0, 0, 0, 0x13, 0x88)),
    ],
)
def test_they_send_what_we_send(
    loop: asyncio.AbstractEventLoop, theirs: tuple[Any, ...], mine: tuple[int, ...]
) -> None:
    listener = Listener(loop)
    listener.send_command(*theirs)
    assert listener.sent == nine_bytes.request(*mine)


AIR = {"pm1": 1.5, "pm2_5": 2.25, "pm4": 2.5, "pm10": 2.75}
AIR |= {"n0_3": 13.0, "n0_5": 3.0, "n1": 1.0, "n2_5": 0.5}


@pytest.fixture
def counter() -> Iterator[tuple[Any, Sps30Twin]]:
    """Their device over the framing library that it stands on, through a real terminal."""
    framing: Any = sys.modules[Sps30ShdlcDevice.__mro__[1].__module__.partition(".")[0]]
    twin = Sps30Twin(AIR.__getitem__, reply_ms=0)
    clock = SystemClock()
    with PtyHost(twin) as host:
        host.start(clock)
        with framing.ShdlcSerialPort(host.path, 115_200, 60) as port:
            yield Sps30ShdlcDevice(framing.ShdlcConnection(port)), twin


def test_they_drive_our_sps30(counter: tuple[Any, Sps30Twin]) -> None:
    device, twin = counter
    assert device.get_product_type() == b"00080000"
    assert device.read_version() == ((2, 2), 7, (2, 0))
    device.start_measurement()
    twin._ready_at = 0  # rather than wait a second
    mass, number, size = device.read_measured_value()
    assert mass == (1.5, 2.25, 2.5, 2.75)
    assert number == (10, 12, 12.5, 12.75, 13)
    assert size == 0.5
    device.start_fan_cleaning()
    assert len(twin.cleanings) == 1
    device.stop_measurement()
    assert device.read_auto_cleaning_interval() == 604_800  # its sum 7E is stuffed
    device.sleep()
    assert twin.asleep


@given(st.lists(st.floats(0, 3000, width=32), min_size=10, max_size=10))
def test_we_order_ten_values_as_they_are_named(values: list[float]) -> None:
    body = bytes((0, 3, 0, 40)) + struct.pack(">10f", *values)
    reply = shdlc.decode(stuffed(body))[1]
    assert reply is not None
    found = ours.sample(struct.unpack(">10f", reply.data)).values
    assert found[:4] == tuple(values[:4])
    assert found[4] == values[8]


def stuffed(body: bytes) -> bytes:
    raw = body + bytes(((sum(body) & 0xFF) ^ 0xFF,))
    special = {0x7E, 0x7D, 0x11, 0x13}
    parts = (bytes((0x7D, b ^ 0x20)) if b in special else bytes((b,)) for b in raw)
    return b"\x7e" + b"".join(parts) + b"\x7e"


@pytest.fixture
def dust() -> Iterator[tuple[Any, Sds011Twin]]:
    twin = Sds011Twin({"pm2_5": 123.6, "pm10": 261.8}.__getitem__, reply_ms=1)
    with PtyHost(twin) as host:
        host.start(SystemClock())
        part = sds011.SDS011(host.path, timeout=60)
        yield part, twin
        part.ser.close()


def test_an_older_library_drives_our_sds011(dust: tuple[Any, Sds011Twin]) -> None:
    part, twin = dust
    assert twin.active is False  # it sets query mode at its start
    assert part.query() == (123.6, 261.8)
    part.set_work_period(work_time=3)
    assert twin.period == 3
    part.sleep()
    assert twin.awake is False
    part.sleep(sleep=False)
    assert twin.awake


class Line:
    """A port that keeps what a library sends."""

    sent = b""

    def write(self, data: bytes) -> None:
        self.sent += data

    def read(self, size: int) -> bytes:
        return b""


@pytest.mark.parametrize(
    ("ask", "mine"),
    [
        (lambda part: part.sleep(sleep=False), command(6, 1, 1)),
        (lambda part: part.set_report_mode(active=True), command(2, 1, 0)),
        (lambda part: part.query(), command(4)),
    ],
)
def test_an_older_library_sends_what_we_send(ask: Any, mine: bytes) -> None:
    part = sds011.SDS011.__new__(sds011.SDS011)
    part.ser = Line()
    ask(part)
    assert part.ser.sent == mine
