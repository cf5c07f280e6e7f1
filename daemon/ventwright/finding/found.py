"""What looking at a port or at an address of a bus came to."""

import errno
import grp
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType

from ventwright_drivers.serial.link import NO_PORT, NO_PORT_WORDS, errno_of

Models = tuple[str, ...]
"""Part numbers, the likeliest first."""


@dataclass(frozen=True)
class Found:
    """One thing found, or one thing that stands in the way."""

    place: str
    """A port's path, or a bus and an address."""

    says: str
    """The rest of a sentence that begins with the place."""

    models: Models = ()
    """What it can be; more than one where the wire does not tell. Empty if it is nothing known."""

    options: Mapping[str, str | int] = field(default_factory=lambda: MappingProxyType({}))
    """What the configuration must say besides the model."""

    relay: bool = False
    """True for a relay, False for a sensor part."""

    trouble: bool = False
    """True where something is wrong that the owner can put right."""


def naming(models: Models) -> str:
    """Say what is there, as the rest of a sentence."""
    first, *rest = models
    if not rest:
        return f"has a {first}"
    return f"has a {first}, or one that the wire does not tell from it: {', '.join(rest)}"


def group_of(path: str, usual: str) -> str:
    """Name the group whose members may open `path`: the owning one, or `usual` if that is root."""
    try:
        name = grp.getgrgid(Path(path).stat().st_gid).gr_name
    except (OSError, KeyError):
        return usual
    return usual if name == "root" else name


def _holders(path: str) -> list[str]:
    """Name the processes of this user that have `path` open, itself excluded."""
    target, names = os.path.realpath(path), []
    for process in Path("/proc").glob("[0-9]*"):
        if process.name == str(os.getpid()):
            continue
        try:
            if any(os.path.realpath(fd) == target for fd in (process / "fd").iterdir()):
                names.append(f"{(process / 'comm').read_text().strip()}, process {process.name}")
        except OSError:  # gone meanwhile, or another user's
            continue
    return names


def in_use(path: str) -> str:
    """Say who has `path` open, as far as this user may know; "" if nobody is seen."""
    names = _holders(path)
    return f"is in use by another program ({names[0]}): stop it first" if names else ""


def refused(path: str, usual_group: str, error: OSError | None) -> str:
    """Say why `path` does not open and what to do about it, as the rest of a sentence."""
    number = errno_of(error) if error else None
    if number in (errno.EACCES, errno.EPERM):
        group = group_of(path, usual_group)
        remedy = f"sudo usermod -aG {group} $USER"
        return f"may not be opened by this user: run `{remedy}` and log in again"
    if number in (errno.EAGAIN, errno.EBUSY):
        return "is in use by another program, perhaps the daemon: stop it first"
    if number in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return "is not there: plug it in, or switch the bus on in the board's settings"
    if number == errno.EOPNOTSUPP:
        return "takes no plain I2C transfers: a bus of a mainboard or screen, not for parts"
    if number in NO_PORT:
        return f"is {NO_PORT_WORDS}"
    return f"does not work: {getattr(error, 'strerror', None) or error}"
