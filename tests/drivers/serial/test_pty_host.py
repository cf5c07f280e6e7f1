"""Real pseudo-terminals: unplugging at every byte, plugging in again, silence and garbage."""

import os
import select
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from fakes import wiring
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.emulated.pms import PmsTwin
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.relay_modbus import ModbusTwin
from ventwright_drivers.emulated.sds011 import Sds011Twin
from ventwright_drivers.errors import DeviceLost, NoAnswer
from ventwright_drivers.part import Part, Sample
from ventwright_drivers.relay import modbus
from ventwright_drivers.relay.modbus import ModbusRelay
from ventwright_drivers.serial import sds011
from ventwright_drivers.serial.link import open_serial
from ventwright_drivers.serial.pms import ACTIVE, Pms3003, Pms5003
from ventwright_drivers.serial.sds011 import Sds011

# Captured: protocols.md section 2, confirmed by a published driver.
FRAME = bytes.fromhex(
    "42 4D 00 1C 00 03 00 04 00 07 00 04 00 05 00 0803 1B 00 F9 00 1B 00 06 00 03 00 03 9A 00 02 A2"
)
SAMPLE = Sample((4, 5, 8, 7.95, 2.49, 0.27, 0.06, 0.03, 0.03))
PATIENCE_MS = 60_000  # so that no loaded machine fails a test


def air(name: str) -> float:
    return 7.0


@pytest.fixture
def host(tmp_path: Path) -> Iterator[PtyHost]:
    with PtyHost(PmsTwin(air), tmp_path / "port") as found:
        yield found


@pytest.fixture
def part(host: PtyHost) -> Iterator[Part]:
    wires = wiring(SystemClock(), open_port=open_serial)
    with Pms5003(Pms5003.Options(port=host.path), wires) as found:
        yield found


def test_a_frame_crosses_the_terminal_unchanged(host: PtyHost, part: Part) -> None:
    host.inject(FRAME)
    assert part.read() == SAMPLE


def test_the_part_is_told_to_be_active(host: PtyHost, part: Part) -> None:
    assert os.read(host._master, 100).startswith(ACTIVE)


@pytest.mark.parametrize("size", range(len(FRAME)))
def test_hung_up_at_each_byte_is_lost_and_back_under_the_same_path(
    host: PtyHost, part: Part, size: int
) -> None:
    host.inject(FRAME[:size])
    host.hang_up()
    with pytest.raises(DeviceLost, match=host.path):
        part.read()
    with pytest.raises(DeviceLost, match="is not there"):
        part.start()
    host.plug_in()
    part.start()
    host.inject(FRAME)
    assert part.read() == SAMPLE


def test_hung_up_before_writing_is_lost(host: PtyHost, part: Part) -> None:
    host.hang_up()
    with pytest.raises(DeviceLost):
        part.prepare()  # type: ignore[attr-defined]
    part.close()
    part.close()


def test_hung_up_while_waiting_is_lost(host: PtyHost, part: Part) -> None:
    puller = threading.Timer(0.02, host.hang_up)
    puller.start()
    with pytest.raises(DeviceLost):
        part.read()
    puller.join()


def test_mute_is_no_answer(host: PtyHost, part: Part, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(type(part), "silence_ms", 20)
    with pytest.raises(NoAnswer, match="sent nothing"):
        part.read()


def test_a_thousand_unpluggings_leak_no_descriptor(host: PtyHost, part: Part) -> None:
    before = sum(1 for _ in Path("/proc/self/fd").iterdir())
    threads = threading.active_count()
    for _ in range(1000):
        host.hang_up()
        with pytest.raises(DeviceLost):
            part.read()
        host.plug_in()
        part.start()
    assert sum(1 for _ in Path("/proc/self/fd").iterdir()) <= before
    assert threading.active_count() <= threads


def test_a_second_reader_is_refused(host: PtyHost, part: Part) -> None:
    wires = wiring(SystemClock(), open_port=open_serial)
    with pytest.raises(DeviceLost, match="is in use by another program"):
        Pms5003(Pms5003.Options(port=host.path), wires).start()
    host.inject(FRAME)
    assert part.read() == SAMPLE


def test_service_carries_the_twins_frames_and_mute_and_meddle_spoil_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with PtyHost(PmsTwin(air), tmp_path / "port") as host:
        wires = wiring(SystemClock(), open_port=open_serial)
        with Pms5003(Pms5003.Options(port=host.path), wires) as part:
            host.mute = True
            host.service(0)
            host.service(10_000)
            with monkeypatch.context() as soon:
                soon.setattr(type(part), "silence_ms", 20)
                with pytest.raises(NoAnswer, match="sent nothing for"):
                    part.read()
            host.mute = False
            host.meddle = lambda data: data[:-1] + b"\0"
            host.service(20_000)
            assert select.select([host._slave], [], [], PATIENCE_MS / 1000)[0]
            monkeypatch.setattr(type(part), "silence_ms", 20)
            with pytest.raises(NoAnswer, match="nothing usable"):
                part.read()
            host.meddle = lambda data: data
            host.service(30_000)
            monkeypatch.setattr(type(part), "silence_ms", PATIENCE_MS)
            assert part.read().values[:3] == (7, 7, 7)


@pytest.mark.parametrize("hold", [True, False])
def test_bytes_sent_while_nobody_reads(
    tmp_path: Path, hold: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    with PtyHost(PmsTwin(air), tmp_path / "port", hold_slave=hold) as host:
        for now in range(0, 2_000_000, 2300):  # far more than the terminal holds
            host.service(now)
        wires = wiring(SystemClock(), open_port=open_serial)
        with Pms3003(Pms3003.Options(port=host.path), wires) as part:
            monkeypatch.setattr(type(part), "silence_ms", 20)
            with pytest.raises(NoAnswer):
                part.read()  # opening discards what is old
            host.service(3_000_000)


def test_a_thread_serves_in_real_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(modbus, "_REPLY_MS", PATIENCE_MS)
    clock = SystemClock()
    wires = wiring(clock, open_port=open_serial)
    board = ModbusTwin()
    with PtyHost(board) as host:
        host.start(clock)
        with ModbusRelay(ModbusRelay.Options(port=host.path, coil=3), wires) as relay:
            assert relay.state() is False
            relay.switch(True)
            assert relay.state() is True
        assert board.contacts == [False, False, True, False, False, False, False, False]
        host.hang_up()
        assert not host.plugged_in
        host.plug_in()
        with ModbusRelay(ModbusRelay.Options(port=host.path, coil=3), wires) as relay:
            assert relay.state() is True


def test_a_dust_sensor_starts_over_a_served_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sds011, "_REPLY_MS", PATIENCE_MS)
    clock = SystemClock()
    twin = Sds011Twin(air, period=3, reply_ms=5)
    with PtyHost(twin, tmp_path / "dust", hold_slave=False) as host:
        host.start(clock)
        wires = wiring(clock, open_port=open_serial)
        with Sds011(Sds011.Options(port=host.path), wires) as part:
            assert part.silence_ms == 190_000
        host.stop()
