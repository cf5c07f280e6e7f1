"""The world behind real pseudo-terminals: bytes switch its air, faults cost their own part only."""

from dataclasses import replace
from pathlib import Path
from random import Random
from threading import Timer

import pytest
import serial

from daemon.rehearsal.stage import Played, shortened
from ventwright.rehearsal.emission import Print
from ventwright.rehearsal.ports import Port
from ventwright.rehearsal.scenario import DEFAULT, Fault
from ventwright.rehearsal.world import START_MS, World
from ventwright_drivers.emulated.pty_host import PtyHost
from ventwright_drivers.emulated.relay_modbus import ModbusTwin

CLOSE_FIRST = bytes.fromhex("01 05 00 00 FF 00 8C 3A")  # protocols.md section 11

EARLY = replace(
    DEFAULT,
    spells=Print(120, 900, burst={"fine": 42_000}, plateau={"fine": 3200}).spells(),
    duration=1500,
)


def test_bytes_on_the_relays_terminal_change_the_room(tmp_path: Path) -> None:
    world = World(EARLY, 1, tmp_path)
    world.go_on(START_MS + 400_000)
    assert not world.extracting
    assert world.room.levels == world.still_room.levels
    with serial.Serial(str(tmp_path / DEFAULT.relay), 9600, timeout=0) as port:
        port.write(CLOSE_FIRST)
        world.idle(None, {str(tmp_path / DEFAULT.relay): len(CLOSE_FIRST)})
        assert world.now < START_MS + 401_000
        while not world.extracting:
            world.idle(None, {str(tmp_path / DEFAULT.relay): len(CLOSE_FIRST)})
        assert port.in_waiting == len(CLOSE_FIRST)
        assert port.read(8) == CLOSE_FIRST
    world.go_on(START_MS + 700_000)
    assert world.room.levels["fine"] < 0.75 * world.still_room.levels["fine"]
    world.close()


def test_answers_have_arrived_when_idle_returns(tmp_path: Path) -> None:
    """A hundred requests in a row, each answered on the real terminal before the world goes on."""
    port = Port(ModbusTwin(), tmp_path / "relay", Random(1))
    sent, now = 0, 0
    with serial.Serial(port.path, 9600, timeout=0) as near:
        for _ in range(100):
            near.write(CLOSE_FIRST)
            sent += len(CLOSE_FIRST)
            port.collect(sent, now)
            now += 10
            port.serve(now)
            assert near.in_waiting == len(CLOSE_FIRST)
            assert near.read(8) == CLOSE_FIRST
    port.close()


def test_slow_delivery_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal whose kernel thread takes 20 ms, where it mostly takes 0.02 ms."""
    at_once = PtyHost._send

    def late(host: PtyHost, data: bytes) -> None:
        Timer(0.02, at_once, (host, data)).start()

    monkeypatch.setattr(PtyHost, "_send", late)
    port = Port(ModbusTwin(), tmp_path / "relay", Random(1))
    with serial.Serial(port.path, 9600, timeout=0) as near:
        Timer(0.02, near.write, (CLOSE_FIRST,)).start()
        port.collect(len(CLOSE_FIRST), 0)
        port.serve(10)
        assert near.read(8) == CLOSE_FIRST
    port.close()


def test_wiring_carries_boot_and_offset(tmp_path: Path) -> None:
    played = Played(tmp_path / "run", shortened(5))
    assert (played.boot, played.offset) == ("rehearsal-1", 7)


def test_loop_is_closed_through_the_wires(tmp_path: Path) -> None:
    played = Played(tmp_path / "run", replace(EARLY, duration=1500))
    began = next(t for t, on in played.of("extractor") if on)
    assert 180 < began < 400
    assert played.world.extracting
    assert (pytest.approx(began, abs=2), True) in played.of("relay")
    last = played.moments[-1]
    assert last.with_extraction < 0.5 * last.without


def test_same_seed_same_everything(tmp_path: Path) -> None:
    scenario = replace(EARLY, duration=600, faults=(Fault(200, "garble", "shelf"),))
    one, two = (Played(tmp_path / name, scenario) for name in ("one", "two"))
    assert len(one.log) > 50
    assert len(one.keeper.samples) > 800
    assert one.keeper.samples == two.keeper.samples
    assert one.log == two.log
    assert one.moments == two.moments
    other = Played(tmp_path / "other", scenario, seed=2)
    assert other.keeper.samples != one.keeper.samples


@pytest.mark.parametrize("model", ["relay-modbus", "relay-a0", "relay-gpio"])
def test_every_kind_of_relay_moves_the_air(tmp_path: Path, model: str) -> None:
    scenario = replace(EARLY, duration=500, relay_model=model)
    played = Played(tmp_path / "run", scenario)
    last = played.moments[scenario.duration - 1]  # a GPIO line falls back when the keeper ends
    assert last.extracting
    assert last.with_extraction < last.without


def test_hung_up_port_costs_its_own_part_and_comes_back(tmp_path: Path) -> None:
    faults = (Fault(100, "hang up", "bench"), Fault(160, "plug in", "bench"))
    played = Played(tmp_path / "run", shortened(240, *faults))
    assert played.of("bench")[0] == (100.0, "DeviceLost")
    assert {what for _, what in played.of("bench")} == {"DeviceLost"}
    assert max(t for t, _ in played.of("bench")) < 166
    assert not played.of("shelf")
    assert all(state is False for _, state in played.of("relay"))


@pytest.mark.parametrize(("action", "healed"), [("mute", "unmute"), ("garble", "heal")])
def test_mute_or_garbled_port_is_silence(tmp_path: Path, action: str, healed: str) -> None:
    faults = (Fault(100, action, "bench"), Fault(160, healed, "bench"))
    played = Played(tmp_path / "run", shortened(240, *faults))
    assert {what for _, what in played.of("bench")} == {"NoAnswer"}
    assert all(100 < t < 175 for t, _ in played.of("bench"))


@pytest.mark.parametrize(("action", "healed"), [("hang up", "plug in"), ("garble", "heal")])
def test_part_taken_off_the_bus_is_missed_and_taken_back(
    tmp_path: Path, action: str, healed: str
) -> None:
    faults = (Fault(100, action, "climate"), Fault(160, healed, "climate"))
    played = Played(tmp_path / "run", shortened(240, *faults))
    assert {what for _, what in played.of("climate")} == {"NoAnswer"}
    assert all(100 < t < 180 for t, _ in played.of("climate"))
    assert not played.of("carbon")


def test_relay_that_hangs_up_is_reported(tmp_path: Path) -> None:
    played = Played(tmp_path / "run", shortened(100, Fault(50, "hang up", DEFAULT.relay)))
    states = played.of("relay")
    assert {state for t, state in states if t < 50} == {False}
    assert {state for t, state in states if t >= 50} == {"DeviceLost"}
