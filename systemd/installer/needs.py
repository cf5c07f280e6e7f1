"""What the machine must have before anything is installed; changes nothing but missing packages."""

import os
import shutil
import sys

from installer.machine import Machine, Refusal, last_words

OLDEST = {"debian": 12, "raspbian": 12}
ROOM_BYTES = 300_000_000
_OFFLINE = (
    "Temporary failure",
    "Failed to establish",
    "unreachable",
    "NameResolutionError",
    "Could not resolve",
    "timed out",
)


def offline(printed: str) -> bool:
    """Tell whether a command failed for want of a network."""
    return any(word in printed for word in _OFFLINE)


def check(machine: Machine) -> None:
    """See to system, room and Python's venv; raises Refusal."""
    _check_root()
    _check_system(machine)
    _check_room(machine)
    if not _has_venv(machine):
        add_packages(machine, "python3-venv")


def _check_root() -> None:
    if os.geteuid():
        raise Refusal("This changes the system: run it as root, with sudo before it.")


def _check_system(machine: Machine) -> None:
    told = _os_release(machine)
    name, version = told.get("ID", "unknown"), told.get("VERSION_ID", "")
    if name not in OLDEST:
        raise Refusal(
            f"This system calls itself {name}; Debian 12 or 13 or Raspberry Pi OS is needed."
        )
    if version.isdecimal() and int(version) < OLDEST[name]:
        raise Refusal(f"This is {name} {version}; {OLDEST[name]} or newer is needed.")
    if not machine.at("/run/systemd/system").is_dir():
        raise Refusal("systemd does not run this system, and nothing else would start Ventwright.")


def _os_release(machine: Machine) -> dict[str, str]:
    try:
        lines = machine.at("/etc/os-release").read_text().splitlines()
    except OSError:
        return {}
    pairs = (line.partition("=") for line in lines if "=" in line)
    return {key: value.strip("\"'") for key, _, value in pairs}


def _check_room(machine: Machine) -> None:
    free = shutil.disk_usage(machine.at("/opt")).free
    if free < ROOM_BYTES:
        raise Refusal(
            f"/opt has {free // 1_000_000} MB left; {ROOM_BYTES // 1_000_000} MB are needed."
        )


def _has_venv(machine: Machine) -> bool:
    return machine.run(sys.executable, "-c", "import ensurepip, venv").returncode == 0


def add_packages(machine: Machine, *names: str) -> None:
    """Install packages of the system; raises Refusal if they are not to be had."""
    machine.say(f"Installing {', '.join(names)} ...")
    quiet = {"DEBIAN_FRONTEND": "noninteractive"}
    lists = machine.run("apt-get", "update", "-q", env=quiet)
    done = machine.run("apt-get", "install", "-y", "-q", *names, env=quiet)
    if done.returncode:
        alone = offline(lists.stdout + done.stdout)
        why = "there is no network" if alone else last_words(done.stdout)
        raise Refusal(
            f"The system's package {', '.join(names)} is missing and could not be installed "
            f"({why}): install it by apt-get, then run this again."
        )
