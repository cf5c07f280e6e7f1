"""Takes Ventwright off the machine; configuration and readings stay unless told otherwise."""

import shutil

from installer.machine import Machine
from installer.releases import HOME
from installer.system import COMMAND, FILES, UNITS, WATCHDOG

_STORE = "/var/lib/ventwright"
_DATA = ("/etc/ventwright", _STORE)
_BESIDE = ("before", "going", "failed-upgrade*")
"""What upgrades may have left beside the readings."""


def remove(machine: Machine, with_data: bool) -> None:
    """Remove all, the relays being safe; `with_data`: configuration, secrets and readings too."""
    machine.run("systemctl", "disable", "--quiet", "--now", *UNITS)
    for path in (*FILES.values(), COMMAND, WATCHDOG):
        machine.at(path).unlink(missing_ok=True)
    shutil.rmtree(machine.at(HOME), ignore_errors=True)
    machine.run("systemctl", "daemon-reload")
    machine.run("systemctl", "reset-failed", *UNITS)
    machine.run("udevadm", "control", "--reload")
    if not with_data:
        machine.say(
            "Ventwright is removed. Configuration (/etc/ventwright) and readings "
            "(/var/lib/ventwright) are kept; --remove --with-data removes them too."
        )
        return
    store = machine.at(_STORE)
    beside = (f for end in _BESIDE for f in store.parent.glob(f"{store.name}-{end}"))
    for folder in (*map(machine.at, _DATA), *beside):
        shutil.rmtree(folder, ignore_errors=True)
    machine.run("userdel", "ventwright")
    machine.run("groupdel", "ventwright")
    machine.say("Ventwright is removed, with its configuration and all its readings.")
