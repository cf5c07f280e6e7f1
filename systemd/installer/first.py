"""The first configuration: what `ventwright find` finds; one that is there is never touched."""

import os

from installer.machine import Machine
from installer.releases import Release

CONFIG = "/etc/ventwright/ventwright.toml"
_DRAFT = "/etc/ventwright/first.toml"
_LOOKING = """Looking for what is plugged in, up to 10 s a serial port. Some printers restart when
their port is opened: install while none of them prints over USB of this board."""
_NOTHING = """
Nothing was recognised at the serial ports and I2C buses, so nothing is watched yet. Plug a part in
and run this again; or write /etc/ventwright/ventwright.toml yourself (example.toml beside it
explains every key) and run this again."""


def configured(machine: Machine, release: Release) -> bool:
    """Make the first configuration unless there is one; False if nothing was found to be in it."""
    config, draft = machine.at(CONFIG), machine.at(_DRAFT)
    if config.exists():
        return True
    machine.say(_LOOKING)
    draft.write_text((release.folder / "source/config/first.toml").read_text())
    try:
        if machine.show(release.command, "find", "--write", draft):
            machine.say(_NOTHING)
            return False
        draft.rename(config)
        os.sync()  # an empty file after a power cut would be refused for ever
    finally:
        draft.unlink(missing_ok=True)
    machine.must("The configuration's owner could not be set", "chown", "root:ventwright", config)
    machine.must("The configuration's rights could not be set", "chmod", "640", config)
    machine.say(f"That is the first configuration now: {CONFIG}.")
    return True
