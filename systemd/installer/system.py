"""What a release needs of the system around it: units, users, rules; it knows no building."""

import os

from installer.machine import Machine
from installer.releases import HOME, Release

UNITS = ("ventwright-keeper.service", "ventwright-courier.service")
UNIT_FOLDER = "/etc/systemd/system"
FILES = {
    "sysusers.conf": "/etc/sysusers.d/ventwright.conf",
    "tmpfiles.conf": "/etc/tmpfiles.d/ventwright.conf",
    "udev.rules": "/etc/udev/rules.d/70-ventwright.rules",
    "modules.conf": "/etc/modules-load.d/ventwright.conf",
    **{unit: f"{UNIT_FOLDER}/{unit}" for unit in UNITS},
}
COMMAND = "/usr/local/bin/ventwright"
EXAMPLE = "/etc/ventwright/example.toml"
WATCHDOG = "/etc/systemd/system.conf.d/ventwright.conf"
_WATCHDOG_TEXT = """# Ventwright: a board that hangs starts again by itself.
[Manager]
RuntimeWatchdogSec=14s
"""


def fit(machine: Machine, release: Release) -> bool:
    """Bring users, rules and units of a release into place; True if a file had to be changed."""
    changed = [
        machine.put((release.units / name).read_text(), path) for name, path in FILES.items()
    ]
    machine.must(
        "The user could not be made", "systemd-sysusers", machine.at(FILES["sysusers.conf"])
    )
    machine.must(
        "The folders could not be made", "systemd-tmpfiles", "--create", FILES["tmpfiles.conf"]
    )
    example = release.folder / "source/config/example.toml"
    machine.put(example.read_text(), EXAMPLE)
    _link_command(machine)
    machine.must("systemd does not take the units", "systemctl", "daemon-reload")
    if any(changed):
        _apply_rules(machine)
    return any(changed)


def _link_command(machine: Machine) -> None:
    command = machine.at(COMMAND)
    if not command.is_symlink():
        command.parent.mkdir(parents=True, exist_ok=True)
        command.symlink_to(f"{HOME}/now/bin/ventwright")


def _apply_rules(machine: Machine) -> None:
    machine.run("modprobe", "i2c-dev")
    machine.run("udevadm", "control", "--reload")
    machine.run("udevadm", "trigger", "--subsystem-match=tty", "--subsystem-match=i2c-dev")
    machine.run("udevadm", "trigger", "--subsystem-match=gpio")
    machine.run("udevadm", "settle", "--timeout=30")


def let_in(machine: Machine) -> None:
    """Let the person who typed sudo use the commands without it."""
    person = os.environ.get("SUDO_USER", "root")
    if person != "root" and machine.run("usermod", "-aG", "ventwright", person).returncode == 0:
        machine.say(f"{person} may use the commands without sudo, from the next login on.")


def guard(machine: Machine) -> None:
    """Have the board's own watchdog started, if it has one and nobody set it."""
    told = machine.run("systemctl", "show", "--property=RuntimeWatchdogUSec").stdout
    unset = told.strip() in ("RuntimeWatchdogUSec=0", "RuntimeWatchdogUSec=infinity")
    if machine.at("/dev/watchdog0").exists() and unset and machine.put(_WATCHDOG_TEXT, WATCHDOG):
        machine.say("From its next start the board restarts by itself when it hangs.")


def explain_limits(machine: Machine) -> None:
    """Say so where the kernel will not hold the units to their memory limits."""
    controllers = machine.at("/sys/fs/cgroup/cgroup.controllers")
    if controllers.exists() and "memory" not in controllers.read_text().split():
        machine.say(
            "The limits of memory have no effect on this system: its kernel was started without "
            "them (cgroup_enable=memory in /boot/firmware/cmdline.txt switches them on)."
        )
