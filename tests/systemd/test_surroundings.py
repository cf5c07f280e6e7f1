"""What the installer sees to around a release: buses, watchdog, who may use the commands."""

from pathlib import Path

import pytest

from installer import buses, system
from systemd.stand_in import StandIn


@pytest.fixture
def machine(tmp_path: Path) -> StandIn:
    return StandIn(tmp_path)


def a_pi(machine: StandIn, tool: bool) -> StandIn:
    machine.at("/proc/device-tree/model").write_text("Raspberry Pi 4 Model B Rev 1.4\0")
    if tool:
        machine.at("/usr/bin").mkdir(parents=True)
        machine.at("/usr/bin/raspi-config").touch()
    return machine


def test_i2c_is_switched_on_by_the_boards_own_tool(machine: StandIn) -> None:
    machine.reply = lambda command: (0, "1\n") if command[-1] == "get_i2c" else None
    buses.see_to(a_pi(machine, tool=True))
    assert machine.did("raspi-config", "nonint", "do_i2c", "0") == 1
    assert machine.told[0] == "I2C is switched on now."


def test_what_is_on_stays_as_it_is(machine: StandIn) -> None:
    machine.reply = lambda command: (0, "0\n") if command[-1] == "get_i2c" else None
    machine.at("/dev/serial0").touch()
    buses.see_to(a_pi(machine, tool=True))
    assert machine.did("do_i2c") == 0
    assert machine.told == []


def test_the_serial_pins_are_explained_and_left_alone(machine: StandIn) -> None:
    buses.see_to(a_pi(machine, tool=True))
    assert "do_serial_hw 0" in machine.told[-1]
    assert machine.did("do_serial_hw") == machine.did("do_serial_cons") == 0


def test_without_the_tool_the_line_to_write_is_told(machine: StandIn) -> None:
    buses.see_to(a_pi(machine, tool=False))
    assert "dtparam=i2c_arm=on" in machine.told[-1]


def test_on_other_boards_nothing_is_switched_or_told(machine: StandIn) -> None:
    buses.see_to(machine)
    assert machine.told == machine.ran == []


@pytest.mark.parametrize(
    ("there", "now", "set_up"),
    [
        (True, "RuntimeWatchdogUSec=0", True),
        (True, "RuntimeWatchdogUSec=infinity", True),
        (True, "RuntimeWatchdogUSec=1min", False),
        (False, "RuntimeWatchdogUSec=0", False),
    ],
)
def test_the_boards_own_watchdog_is_used_unless_somebody_set_it(
    machine: StandIn, there: bool, now: str, set_up: bool
) -> None:
    if there:
        machine.at("/dev/watchdog0").touch()
    machine.reply = lambda _command: (0, now)
    system.guard(machine)
    assert machine.at(system.WATCHDOG).exists() is set_up


def test_limits_without_effect_are_told(machine: StandIn) -> None:
    controllers = machine.at("/sys/fs/cgroup/cgroup.controllers")
    controllers.parent.mkdir(parents=True)
    controllers.write_text("cpuset cpu io memory pids\n")
    system.explain_limits(machine)
    assert machine.told == []
    controllers.write_text("cpuset cpu io pids\n")
    system.explain_limits(machine)
    assert "cgroup_enable=memory" in machine.told[0]


def test_who_typed_sudo_may_use_the_commands(
    machine: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SUDO_USER", "maker")
    system.let_in(machine)
    assert machine.did("usermod", "-aG", "ventwright", "maker") == 1


def test_a_file_is_replaced_at_one_stroke_and_only_if_it_differs(machine: StandIn) -> None:
    assert machine.put("one\n", "/etc/x/y.conf")
    assert not machine.put("one\n", "/etc/x/y.conf")
    assert machine.put("two\n", "/etc/x/y.conf")
    assert [path.name for path in machine.at("/etc/x").iterdir()] == ["y.conf"]
