"""The installer's order and refusals, on a folder that stands for a machine. See tests/board."""

import shutil
import signal
from pathlib import Path
from typing import Any

import pytest

from installer import __main__ as installation
from installer import needs, releases, removing, services, upgrading
from installer.first import CONFIG
from installer.machine import Machine, Refusal
from systemd.stand_in import StandIn

ROOT = Path(__file__).parents[2]
STORE = "/var/lib/ventwright/readings.sqlite"


@pytest.fixture(autouse=True)
def _as_root(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.geteuid", lambda: 0)
    monkeypatch.setattr(needs, "ROOM_BYTES", 0)
    monkeypatch.setattr(services, "SETTLED_S", 0.0)
    monkeypatch.delenv("SUDO_USER", raising=False)


@pytest.fixture
def source(tmp_path: Path) -> Path:
    """A checkout small enough to be copied again and again."""
    folder = tmp_path / "checkout"
    for name in ("systemd", "config"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, folder / name)
    for name in ("daemon", "drivers"):
        (folder / name).mkdir()
    return folder


@pytest.fixture
def machine(tmp_path: Path) -> StandIn:
    return StandIn(tmp_path / "machine")


def newer(source: Path) -> Path:
    (source / "daemon/new.py").write_text("NEW = True\n")
    return source


def now(machine: StandIn) -> str:
    found = releases.current(machine)
    assert found is not None
    return found.folder.name


def installed(machine: StandIn, source: Path) -> str:
    installation.install(machine, source, analysis=False)
    return now(machine)


def not_ready(command: list[str]) -> tuple[int, str] | None:
    return (1, "") if command[:2] == ["systemctl", "start"] else None


def tables(command: list[str], old: str, was: str = "1") -> tuple[int, str] | None:
    """Answer which version of the tables a release keeps: an old one, or now 2."""
    told = was if old in command[0] else "2"
    return (0, told) if "VERSION" in command[-1] else None


def test_it_builds_places_configures_checks_and_starts(machine: StandIn, source: Path) -> None:
    name = installed(machine, source)
    assert name.startswith("0.1.0-")
    assert machine.at(CONFIG).exists()
    assert machine.at("/etc/systemd/system/ventwright-keeper.service").exists()
    assert machine.did("ventwright", "check") == machine.did("ventwright", "status") == 1
    assert machine.did("systemctl", "start", "ventwright-keeper.service") == 1
    assert "Ventwright runs" in machine.told[-1]


def test_all_packages_are_held_to_their_hashes(machine: StandIn, source: Path) -> None:
    installed(machine, source)
    pip = [command for command in machine.ran if "install" in command and "pip" in command]
    assert len(pip) == 3
    assert all("--require-hashes" in c or ("--no-deps" in c and "-r" not in c) for c in pip)
    assert all("--no-build-isolation" in command for command in pip)


def test_again_it_changes_nothing(machine: StandIn, source: Path) -> None:
    name = installed(machine, source)
    machine.ran.clear()
    assert installed(machine, source) == name
    assert machine.did("install") == machine.did("systemctl", "stop") == 0
    assert machine.did("systemctl", "restart") == machine.did("ventwright", "find") == 0
    assert "runs already" in machine.told[-1]


def test_an_upgrade_keeps_configuration_and_data(machine: StandIn, source: Path) -> None:
    before = installed(machine, source)
    machine.at(CONFIG).write_text("# mine\n")
    machine.at(STORE).write_text("readings")
    assert installed(machine, newer(source)) != before
    assert machine.at(CONFIG).read_text() == "# mine\n"
    assert machine.at(STORE).read_text() == "readings"
    assert machine.did("ventwright", "find") == 1


def test_an_upgrade_keeps_what_plots_need(machine: StandIn, source: Path) -> None:
    installation.install(machine, source, analysis=True)
    assert installed(machine, newer(source)).endswith("-analysis")
    assert machine.ran[-1][-1] == "status"


def test_an_upgrade_asks_the_hardware_nothing_and_ends_with_the_status(
    machine: StandIn, source: Path
) -> None:
    installed(machine, source)
    machine.ran.clear()
    installed(machine, newer(source))
    assert machine.did("ventwright", "check") == 0
    assert machine.ran[-1][-1] == "status"


@pytest.mark.parametrize("stopped", [KeyboardInterrupt(), OSError(28, "No space left on device")])
@pytest.mark.parametrize("at", [["systemctl", "stop"], ["systemctl", "enable"], ["cp", "-a"]])
def test_whatever_cuts_an_upgrade_short_the_old_version_runs_again(
    machine: StandIn, source: Path, at: list[str], stopped: BaseException
) -> None:
    before = installed(machine, source)
    machine.at(STORE).write_text("readings")
    left = [stopped]

    def reply(command: list[str]) -> tuple[int, str] | None:
        if command[:2] == at and left:
            raise left.pop()
        return tables(command, before)

    machine.reply = reply
    with pytest.raises(
        Refusal, match=r"\((it was stopped by hand|.*No space left.*)\)\. The one bef"
    ):
        installed(machine, newer(source))
    assert not left
    assert machine.up
    assert machine.ran.index(["hear no stops"]) < len(machine.ran) - 1, "the way back is not cut"
    assert now(machine) == before
    assert machine.at(STORE).read_text() == "readings"


class PowerCut(BaseException):
    """Nothing that the installer does afterwards is done."""


def cut(machine: StandIn, source: Path) -> None:
    """Have the power fail while a new version is being started, having changed the readings."""
    before = now(machine)

    def reply(command: list[str]) -> tuple[int, str] | None:
        if told := tables(command, before):
            return told
        if command[0] == "cp":
            shutil.copytree(command[2], command[3])
        if command[:2] == ["systemctl", "enable"]:
            machine.at(STORE).write_text("new tables")
            raise PowerCut
        return None

    machine.reply = reply
    with pytest.raises(PowerCut):
        installed(machine, newer(source))
    machine.reply = lambda _command: None


def test_an_upgrade_that_a_power_cut_ended_is_taken_back_if_it_does_not_run(
    machine: StandIn, source: Path
) -> None:
    before = installed(machine, source)
    machine.at(STORE).write_text("old tables")
    cut(machine, source)
    assert now(machine) != before
    machine.up = False
    upgrading.settle(machine)
    assert machine.up
    assert now(machine) == before
    assert machine.at(STORE).read_text() == "old tables"
    machine.up = False
    upgrading.settle(machine)
    assert not machine.up, "there is nothing to settle any more"


@pytest.mark.parametrize("runs", [True, False])
@pytest.mark.parametrize("nth", range(2, 5))
def test_a_power_cut_on_the_way_back_loses_no_readings_wherever_it_comes(
    machine: StandIn, source: Path, monkeypatch: pytest.MonkeyPatch, nth: int, runs: bool
) -> None:
    """Steps: readings moved, old version in use, copy in their place, moved ones named aside."""
    before = installed(machine, source)
    machine.at(STORE).write_text("old tables")
    cut(machine, source)
    machine.up = False
    steps = iter(range(1, nth))

    def until_the_cut(step: Any, *words: Any) -> Any:
        if next(steps, None) is None:
            raise PowerCut
        return step(*words)

    with monkeypatch.context() as power:
        rename, use = Path.rename, releases.use
        power.setattr(Path, "rename", lambda *words: until_the_cut(rename, *words))
        power.setattr(releases, "use", lambda *words: until_the_cut(use, *words))
        with pytest.raises(PowerCut):
            upgrading.settle(machine)
    assert next(steps, None) is None, "there was no such step"
    begun = not machine.at(STORE).exists()
    if begun:
        machine.at(STORE).parent.mkdir()
        machine.at(STORE).write_text("begun after the cut")
    machine.up = runs
    upgrading.settle(machine)
    assert now(machine) == before
    assert machine.at(STORE).read_text() == "old tables"
    folders = machine.at("/var/lib").glob("ventwright-failed-upgrade*")
    kept = [(folder / "readings.sqlite").read_text() for folder in folders]
    assert sorted(kept) == ["begun after the cut"] * begun + ["new tables"]
    assert not machine.at("/var/lib/ventwright-going").exists()


def test_an_upgrade_that_a_power_cut_ended_is_left_if_it_runs(
    machine: StandIn, source: Path
) -> None:
    installed(machine, source)
    machine.at(STORE).write_text("old tables")
    cut(machine, source)
    new = now(machine)
    machine.up = True
    assert installed(machine, source) == new
    assert machine.at(STORE).read_text() == "new tables"
    assert not machine.at("/var/lib/ventwright-before").exists()


def test_one_that_does_not_become_ready_is_taken_back(machine: StandIn, source: Path) -> None:
    before = installed(machine, source)
    unit = machine.at("/etc/systemd/system/ventwright-keeper.service")
    old_unit = unit.read_text()
    ours = newer(source) / "systemd/ventwright-keeper.service"
    ours.write_text(old_unit + "# new\n")
    machine.reply = lambda c: not_ready(c) if now(machine) != before else None
    with pytest.raises(Refusal, match="The one before runs again; configuration and readings are"):
        installed(machine, source)
    assert now(machine) == before
    assert unit.read_text() == old_unit


def test_readings_that_a_failed_upgrade_changed_are_put_back(
    machine: StandIn, source: Path
) -> None:
    before = installed(machine, source)
    machine.at(STORE).write_text("old tables")

    def reply(command: list[str]) -> tuple[int, str] | None:
        if told := tables(command, before):
            return told
        if command[0] == "cp":
            shutil.copytree(command[2], command[3])
        if now(machine) == before:
            return None
        machine.at(STORE).write_text("new tables")
        return not_ready(command)

    machine.reply = reply
    with pytest.raises(Refusal, match="did not become ready"):
        installed(machine, newer(source))
    assert machine.at(STORE).read_text() == "old tables"
    aside = machine.at("/var/lib/ventwright-failed-upgrade/readings.sqlite")
    assert aside.read_text() == "new tables"


def test_a_first_install_that_does_not_become_ready_says_why_and_what_to_do(
    machine: StandIn, source: Path
) -> None:
    def reply(command: list[str]) -> tuple[int, str] | None:
        if command[0] == "journalctl":
            return 0, "Starting it\nno such port\nventwright-keeper.service: Failed\n"
        return not_ready(command)

    machine.reply = reply
    with pytest.raises(Refusal, match=r"installed, but .* did not become ready: no such port; it"):
        installed(machine, source)


def test_if_neither_becomes_ready_that_is_said(machine: StandIn, source: Path) -> None:
    installed(machine, source)
    machine.reply = not_ready
    with pytest.raises(Refusal, match="neither does the one before now"):
        installed(machine, newer(source))


def test_a_configuration_that_the_new_version_refuses_stops_it_before_anything_changes(
    machine: StandIn, source: Path
) -> None:
    before = installed(machine, source)
    machine.reply = lambda c: (1, "line 3: colour is unknown") if "read_settings" in c[-2] else None
    machine.ran.clear()
    with pytest.raises(Refusal, match=r"nothing was changed.\nline 3: colour is unknown"):
        installed(machine, newer(source))
    assert now(machine) == before
    assert machine.did("systemctl", "stop") == 0


def test_with_nothing_plugged_in_it_says_what_to_do(machine: StandIn, source: Path) -> None:
    machine.reply = lambda c: (1, "") if "find" in c else None
    installed(machine, source)
    assert "Plug a part in" in machine.told[-1].replace("\n", " ")
    assert not machine.at(CONFIG).exists()
    assert machine.did("systemctl", "restart") == 0
    machine.reply = lambda _command: None
    installed(machine, source)
    assert machine.at(CONFIG).exists()


def test_a_build_that_was_cut_is_done_again(machine: StandIn, source: Path) -> None:
    machine.reply = lambda c: (1, "cut") if c[-1] == "--version" else None
    with pytest.raises(Refusal, match="What was built does not start: cut"):
        installed(machine, source)
    assert list(machine.at("/opt/ventwright/releases").iterdir()) == []
    machine.reply = lambda _command: None
    installed(machine, source)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("WARNING: Failed to establish a new connection\nERROR: no", "see to the network"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES\n got 12", "is not the one that"),
        ("OSError: [Errno 28] No space left on device\nERROR: no wheel", "the disk is full"),
        ("ERROR: something else", "could not be installed: something else; nothing was changed"),
    ],
)
def test_packages_that_do_not_come_are_told_in_one_sentence(
    machine: StandIn, source: Path, said: str, told: str
) -> None:
    machine.reply = lambda c: (1, said) if "install" in c and "pip" in c else None
    with pytest.raises(Refusal, match=told) as caught:
        installed(machine, source)
    assert "\n" not in str(caught.value)


def test_where_there_is_no_binary_a_compiler_is_fetched(machine: StandIn, source: Path) -> None:
    def reply(command: list[str]) -> tuple[int, str] | None:
        binary = "--only-binary=:all:" in command and command[-1].endswith("run.txt")
        return (1, "ERROR: No matching distribution found for gpiod==2.5.0") if binary else None

    machine.reply = reply
    installed(machine, source)
    assert machine.did("apt-get", "install", "gcc", "python3-dev") == 1


@pytest.mark.parametrize(
    ("release", "told"),
    [
        ("ID=other\n", "calls itself other; Debian 12 or 13"),
        ('ID=debian\nVERSION_ID="11"\n', "This is debian 11; 12 or newer is needed"),
        ("", "calls itself unknown"),
    ],
)
def test_other_systems_are_refused(machine: StandIn, release: str, told: str) -> None:
    machine.at("/etc/os-release").write_text(release)
    with pytest.raises(Refusal, match=told):
        needs.check(machine)


def test_without_systemd_it_is_refused(machine: StandIn) -> None:
    machine.at("/run/systemd/system").rmdir()
    with pytest.raises(Refusal, match="systemd does not run this system"):
        needs.check(machine)


def test_who_is_not_root_is_told_so(machine: StandIn, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    with pytest.raises(Refusal, match="run it as root, with sudo before it"):
        needs.check(machine)


def test_a_full_disk_is_refused(machine: StandIn, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(needs, "ROOM_BYTES", 1 << 62)
    with pytest.raises(Refusal, match=r"/opt has \d+ MB left"):
        needs.check(machine)


def test_a_missing_venv_and_no_network_is_one_sentence(machine: StandIn) -> None:
    def reply(command: list[str]) -> tuple[int, str] | None:
        if "ensurepip" in command[-1]:
            return 1, "No module named ensurepip"
        return (100, "Temporary failure resolving") if command[0] == "apt-get" else None

    machine.reply = reply
    with pytest.raises(Refusal, match=r"python3-venv is missing .*\(there is no network\)"):
        needs.check(machine)


def test_removing_leaves_data_unless_told_otherwise(machine: StandIn, source: Path) -> None:
    installed(machine, source)
    machine.at(STORE).write_text("readings")
    removing.remove(machine, with_data=False)
    assert machine.at(CONFIG).exists()
    assert machine.at(STORE).read_text() == "readings"
    assert not machine.at("/opt/ventwright").exists()
    assert not machine.at("/etc/systemd/system/ventwright-keeper.service").exists()
    removing.remove(machine, with_data=True)
    assert not machine.at("/etc/ventwright").exists()
    assert not machine.at("/var/lib/ventwright").exists()


def test_a_version_that_cannot_go_on_with_the_readings_is_refused(
    machine: StandIn, source: Path
) -> None:
    before = installed(machine, source)
    machine.reply = lambda command: tables(command, before, was="3")
    with pytest.raises(Refusal, match=r"older than the one in use and cannot go on .* nothing was"):
        installed(machine, newer(source))
    assert machine.up
    assert now(machine) == before


def test_a_version_whose_python_has_gone_is_followed_with_a_copy_of_its_readings(
    machine: StandIn, source: Path
) -> None:
    before = installed(machine, source)
    machine.reply = lambda c: (
        (1, "no ventwright") if "VERSION" in c[-1] and before in c[0] else None
    )
    installed(machine, newer(source))
    assert machine.did("cp", "-a") == 1


def test_an_upgrade_without_room_for_a_copy_is_refused(
    machine: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    machine.at("/var/lib/ventwright").mkdir()
    monkeypatch.setattr("shutil.disk_usage", lambda _path: shutil._ntuple_diskusage(9, 9, 0))  # type: ignore[attr-defined]
    machine.reply = lambda command: tables(command, "old")
    old, new = (releases.Release(machine.root / name) for name in ("old", "new"))
    with pytest.raises(Refusal, match="must be copied before this upgrade, but only 0 MB are left"):
        upgrading.change(machine, old, new)
    assert machine.did("systemctl", "stop") == 0


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (OSError(28, "No space left on device", "/opt/x"), "/opt/x: No space left on device; put"),
        (Refusal("It is so."), "It is so."),
        (KeyboardInterrupt(), "Stopped; run it again to go on."),
    ],
)
def test_whatever_is_in_the_way_is_one_sentence(
    error: BaseException,
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def install(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(installation, "install", install)
    monkeypatch.setattr("installer.machine.Machine.hear_stops", lambda *_: None)
    assert installation.main([]) == 1
    assert capsys.readouterr().err.startswith(told)


def test_a_connection_that_breaks_stops_it_as_ctrl_c_does() -> None:
    machine = Machine()
    before = {number: signal.getsignal(number) for number in (signal.SIGHUP, signal.SIGTERM)}
    try:
        signal.signal(signal.SIGHUP, signal.SIG_DFL)
        machine.hear_stops()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGHUP)
        machine.hear_stops(False)
        done = machine.run("sh", "-c", "kill -HUP $$ && kill -INT $$ && echo went on")
        assert done.stdout == "went on\n"
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        for number, handler in before.items():
            signal.signal(number, handler)
