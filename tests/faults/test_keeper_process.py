"""The keeper as a real process on real terminals: its whole life, and every way to end it."""

import contextlib
import os
import random
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from house import QUICK_START, House, changes, events, until
from ventwright.control.client import ask
from ventwright.keeper.alone import NOT_ALONE
from ventwright.storage.reader import Reader
from ventwright.storage.schema import store_path

KILLS = 5
HANGING = """
import threading
from ventwright.sampling import relay_hand
from ventwright_drivers.relay.modbus import ModbusRelay
relay_hand.STUCK_MS = 300
ModbusRelay.switch = lambda *_: threading.Event().wait()
"""


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    found = House(tmp_path)
    yield found
    found.close()


def samples(store: Path, part: str) -> int:
    reader = Reader(store)
    count = sum(block.samples for block in reader.all_blocks() if block.part.name == part)
    reader.close()
    return count


def test_a_life_from_start_to_stop(house: House) -> None:
    process = house.keeper()
    until(lambda: house.told("parts", "bench", "channels")["pm2_5"]["quality"] == "good")
    assert house.told("extractors", "hood") == "standby"
    house.air["bench"] = 100
    house.reaches(True)
    assert house.told("alarms", "print") == "unacknowledged"
    assert "alarm print: unacknowledged" in house.command("status").stdout
    assert house.command("acknowledge", "print").stdout == "print is now: acknowledged\n"
    house.air["bench"] = 5
    house.reaches(False)
    done = house.command("hold", "hood", "on", "--for", "1 h")
    assert (done.returncode, done.stdout) == (0, "hood is held on for 1 h\n")
    house.reaches(True)
    process.terminate()
    assert process.wait() == 0
    house.reaches(False)
    assert changes(house.store, "alarm") == ["raised", "acknowledged", "cleared"]
    assert changes(house.store, "keeper") == ["started", "stopped"]
    assert [e.body["verb"] for e in events(house.store, "request")] == ["acknowledge", "hold"]
    assert samples(house.store, "bench") > 0
    assert house.status() is None


def test_after_an_orderly_stop_the_next_keeper_knows_so(house: House) -> None:
    for _ in range(2):
        house.keeper().terminate()
        assert house.processes[-1].wait() == 0
    whys = [e.body["why"] for e in events(house.store, "keeper")]
    assert whys == [
        "first start",
        "it was told to stop",
        "it was stopped in good order",
        "it was told to stop",
    ]


def test_a_plug_pulled_in_the_middle_of_a_frame_costs_that_part_only(house: House) -> None:
    house.keeper()
    until(lambda: samples(house.store, "bench") and samples(house.store, "door"))
    house.parts["bench"].inject(b"\x42\x4d\x00\x1c\x00")
    house.parts["bench"].hang_up()
    until(lambda: house.told("parts", "bench") == "lost")
    until(lambda: house.told("parts", "bench", "channels")["pm2_5"]["quality"] == "stale")
    assert house.told("parts", "door") == "there"
    before = samples(house.store, "door")
    until(lambda: samples(house.store, "door") > before + 1)
    house.parts["bench"].plug_in()
    until(lambda: changes(house.store, "part") == ["lost", "back"])
    assert [e.subject for e in events(house.store, "part")] == ["bench", "bench"]


def test_a_second_keeper_on_the_same_store_refuses_and_harms_nothing(house: House) -> None:
    first = house.keeper()
    command = [sys.executable, "-m", "ventwright.keeper", "--config", str(house.config)]
    second = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert second.returncode == NOT_ALONE
    assert second.stderr == f"another keeper is running on the store in {house.store}\n"
    assert house.status() is not None
    house.hold(True)
    house.reaches(True)
    done = house.command("run")
    assert done.returncode == 1
    assert "another keeper is running" in done.stderr
    assert house.contact
    assert first.poll() is None


def told_to(address: Path) -> socket.socket:
    listening = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listening.bind(str(address))
    listening.settimeout(60)
    return listening


def drain(listening: socket.socket) -> None:
    """Take what was sent until now."""
    listening.setblocking(False)
    with contextlib.suppress(BlockingIOError):
        while True:
            listening.recv(100)


def test_systemd_is_told_that_it_is_ready_and_then_fed(house: House) -> None:
    with told_to(house.folder / "notify") as listening:
        house.keeper(NOTIFY_SOCKET=str(house.folder / "notify"))
        heard = [listening.recv(100) for _ in range(3)]
    assert heard == [b"READY=1", b"WATCHDOG=1", b"WATCHDOG=1"]


def test_a_keeper_that_is_stopped_in_its_tracks_is_no_longer_fed(house: House) -> None:
    with told_to(house.folder / "notify") as listening:
        process = house.keeper(NOTIFY_SOCKET=str(house.folder / "notify"))
        until(lambda: listening.recv(100) == b"WATCHDOG=1")
        process.send_signal(signal.SIGSTOP)
        os.waitid(os.P_PID, process.pid, os.WSTOPPED)
        drain(listening)
        listening.settimeout(2.5)
        with pytest.raises(TimeoutError):
            listening.recv(100)
        process.send_signal(signal.SIGCONT)
        listening.settimeout(60)
        assert listening.recv(100) == b"WATCHDOG=1"


def test_a_relay_whose_driver_hangs_starves_the_watchdog_though_the_core_goes_on(
    house: House,
) -> None:
    program = HANGING + QUICK_START
    with told_to(house.folder / "notify") as listening:
        address = str(house.folder / "notify")
        house.run("-c", program, "--config", str(house.config), NOTIFY_SOCKET=address)
        until(lambda: listening.recv(100) == b"READY=1", house.output())
        listening.settimeout(2.5)
        with pytest.raises(TimeoutError):
            [listening.recv(100) for _ in range(5)]
    before = until(house.status)["now"]
    until(lambda: (found := house.status()) and found["now"] > before)


def test_killed_at_random_it_loses_no_event_and_keeps_the_minimum_times(tmp_path: Path) -> None:
    house, dice = House(tmp_path, minimum_off="1 s", minimum_on="1 s"), random.Random(3)
    committed: list[int] = []
    for _ in range(KILLS):
        process = house.keeper()
        house.hold(True)
        house.reaches(True)
        threading.Event().wait(dice.uniform(0, 0.05))
        ask(house.store / "keeper.socket", "shelve", name="print", **{"for": 1000})
        seen = [event.id for event in events(house.store)]
        process.kill()
        process.wait()
        kept = [event.id for event in events(house.store)]
        assert kept[: len(seen)] == seen
        assert kept[: len(committed)] == committed
        committed = kept
        assert house.contact, "an unpowered program cannot have switched"
        house.make_safe()
        assert not house.contact
    gaps = [on - off for (off, _, a), (on, _, b) in _pairs(house) if b and not a]
    assert len(gaps) == KILLS - 1
    assert min(gaps) >= 1000
    assert changes(house.store, "keeper") == ["started"] * KILLS
    last = events(house.store, "keeper")[-1].body
    assert last["why"] == "the keeper before died or was killed"
    house.close()


def _pairs(house: House) -> "zip[tuple[tuple[int, int, bool], tuple[int, int, bool]]]":
    return zip(house.board.history, house.board.history[1:], strict=False)


def _switched(house: House) -> list[bool]:
    return [on for *_, on in house.board.history]


def children(pid: int) -> list[int]:
    return [int(p) for p in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def test_the_supervisor_makes_relays_safe_and_starts_the_keeper_again(house: House) -> None:
    arguments = ("-c", "from ventwright.cli import main; main()", "run", "--config")
    supervisor = house.run(*arguments, str(house.config))
    until(house.begun)
    house.hold(True)
    house.reaches(True)
    until(lambda: events(house.store, "request"), "for the hold to be stored")
    first = children(supervisor.pid)[0]
    subprocess.run(["kill", "-9", str(first)], check=True)
    # safe, then started again, and the hold restored
    until(lambda: _switched(house)[-3:] == [True, False, True], house.output())
    assert children(supervisor.pid) != [first]
    supervisor.terminate()
    assert supervisor.wait() == 0
    house.reaches(False)
    assert "relay board is in its safe state: off" in house.output()
    assert changes(house.store, "keeper") == ["started", "started", "stopped"]


def test_a_keeper_whose_supervisor_is_killed_does_not_live_on_alone(house: House) -> None:
    arguments = ("-c", "from ventwright.cli import main; main()", "run", "--config")
    supervisor = house.run(*arguments, str(house.config))
    until(house.status)
    house.hold(True)
    house.reaches(True)
    supervisor.kill()
    house.reaches(False)
    until(lambda: house.status() is None)


def test_it_starts_on_a_damaged_store_says_so_and_tells_how_much_it_keeps(house: House) -> None:
    house.store.mkdir()
    store_path(house.store).write_bytes(b"nonsense " * 1000)
    house.keeper()
    (aside,) = house.store.glob("readings.damaged-*.sqlite")
    assert aside.read_bytes().startswith(b"nonsense")
    told = events(house.store, "store")
    assert [(e.body["change"], e.body["file"]) for e in told] == [("set aside", str(aside))]
    house.air["bench"] = 100
    house.reaches(True)
    until(lambda: "MB of at most 2000 used" in house.command("status").stdout)


def test_word_of_what_was_told_is_taken_and_nonsense_is_not(house: House) -> None:
    house.keeper()
    address = house.store / "keeper.socket"
    assert ask(address, "told", store="x", event=7)["done"]
    assert ask(address, "told", store="x", event=7, pushed=5)["done"]
    for words in (
        {},
        {"store": 7, "event": 7},
        {"store": "x", "event": True},
        {"store": "x", "event": 7, "pushed": "5"},
    ):
        assert "both are needed" in ask(address, "told", **words)["says"]
