"""Puts a release in the place of the one in use, and goes back if it does not become ready."""

import contextlib
import itertools
import os
import shutil
from pathlib import Path
from typing import NoReturn

from installer import releases, services, system
from installer.first import CONFIG
from installer.machine import Machine, Refusal
from installer.releases import Release

STORE = "/var/lib/ventwright"
_COPY = "/var/lib/ventwright-before"
_GOING = "/var/lib/ventwright-going"
"""What the new version wrote, while the copy takes its place: whoever finds it has to go on."""
_ASIDE = "ventwright-failed-upgrade"
_BEFORE = "before"
"""The link to the release that is gone back to, there while another one has to prove itself."""
_SCHEMA = "from ventwright.storage.schema import VERSION; print(VERSION)"


def refuse_misfit(machine: Machine, release: Release) -> None:
    """Refuse a release that does not take the configuration, before anything is changed."""
    script = (
        "import sys; from pathlib import Path; from ventwright.settings.errors import "
        "ConfigurationError as E; from ventwright.settings.plan import read_settings as r\n"
        "try: r(Path(sys.argv[1]))\nexcept E as e: sys.exit(str(e))"
    )
    done = machine.run(release.python, "-c", script, machine.at(CONFIG))
    if done.returncode:
        raise Refusal(
            f"The configuration is not taken by this version; nothing was changed.\n{done.stdout}"
        )


def change(machine: Machine, old: Release | None, new: Release) -> None:
    """Go over to `new`; raises Refusal, `old` being in use again, if it does not become ready."""
    if old is None or old == new:
        _go_alone(machine, new)
        return
    copying = _must_copy(machine, old, new)
    try:
        services.stop(machine)
        if copying:
            _copy_store(machine)
        _remember(machine, old)
        _go(machine, new)
    except (Refusal, OSError, KeyboardInterrupt) as error:
        _give_up(machine, old, str(error) or "it was stopped by hand")
    _forget(machine)


def settle(machine: Machine) -> None:
    """Bring to an end an upgrade that was cut off, as by a power cut: forwards if that runs."""
    old = releases.linked(machine, _BEFORE)
    if old is None:
        return
    if services.running(machine) and not machine.at(_GOING).exists():
        _forget(machine)
        return
    machine.say("An upgrade was cut off; going back to the version before ...")
    with contextlib.suppress(Refusal):  # what follows tells why nothing runs
        _back(machine, old)


def _go(machine: Machine, release: Release) -> None:
    releases.use(machine, release)
    system.fit(machine, release)
    services.start(machine)


def _go_alone(machine: Machine, release: Release) -> None:
    try:
        _go(machine, release)
    except Refusal as error:
        raise Refusal(
            f"Ventwright is installed, but {error}; it goes on trying. See "
            "journalctl -u ventwright-keeper, put it right, then run this again."
        ) from None


def _remember(machine: Machine, old: Release) -> None:
    """Note that `old` may be wanted again, and its readings, which are copied by now if need be."""
    releases.link(machine, _BEFORE, old)
    os.sync()


def _forget(machine: Machine) -> None:
    """The version before is not needed any more, nor are its readings."""
    releases.unlink(machine, _BEFORE)
    shutil.rmtree(machine.at(_COPY), ignore_errors=True)


def _give_up(machine: Machine, old: Release, why: str) -> NoReturn:
    """Use the old release again, its readings with it; raises Refusal in any case."""
    machine.say("The new version did not become ready; going back to the one before ...")
    machine.hear_stops(False)
    try:
        _back(machine, old)
    except Refusal as error:
        raise Refusal(
            f"The new version did not become ready ({why}), and neither does the one before now "
            f"({error}): see journalctl -u ventwright-keeper. Configuration and readings are kept."
        ) from None
    raise Refusal(
        f"The new version did not become ready ({why}). The one before runs again; "
        "configuration and readings are as they were."
    )


def _back(machine: Machine, old: Release) -> None:
    """Run the old release with its readings; raises Refusal if it is not ready."""
    machine.run("systemctl", "stop", *system.UNITS)
    copied = releases.linked(machine, _BEFORE) and machine.at(_COPY).exists()
    if copied:
        _clear_place(machine)
    releases.use(machine, old)
    os.sync()
    if copied:
        machine.at(_COPY).rename(machine.at(STORE))
    _keep_aside(machine, machine.at(_GOING))
    os.sync()  # what is forgotten next may be on another disk
    _forget(machine)
    _go(machine, old)


def _schema(machine: Machine, release: Release) -> int:
    """Give the version of a release's tables; 0 where its Python has gone from the system."""
    done = machine.run(release.python, "-c", _SCHEMA)
    return 0 if done.returncode else int(done.stdout)


def _must_copy(machine: Machine, old: Release, new: Release) -> bool:
    """Tell whether the new release will change the store's tables; raises Refusal if it cannot."""
    store, before, then = machine.at(STORE), _schema(machine, old), _schema(machine, new)
    if not store.is_dir() or before == then:
        return False
    if before > then:
        raise Refusal(
            "This version is older than the one in use and cannot go on with its readings; nothing "
            f"was changed. To begin anew with it: --remove, move {STORE} away, then run this again."
        )
    _refuse_no_room(store)
    return True


def _copy_store(machine: Machine) -> None:
    """Copy the store, which is stopped."""
    machine.say("Copying the readings, for the new version changes how they are kept ...")
    shutil.rmtree(machine.at(_COPY), ignore_errors=True)
    copy = ("cp", "-a", machine.at(STORE), machine.at(_COPY))
    machine.must("The readings could not be copied", *copy)


def _refuse_no_room(store: Path) -> None:
    need = sum(file.stat().st_size for file in store.rglob("*") if file.is_file())
    free = shutil.disk_usage(store).free
    if free < need + 50_000_000:
        raise Refusal(
            f"The readings take {need // 1_000_000} MB and must be copied before this upgrade, but "
            f"only {free // 1_000_000} MB are left: make room, then run this again. Nothing was "
            "changed."
        )


def _clear_place(machine: Machine) -> None:
    """Free the place of the readings; after a power cut, of what was begun there since, too."""
    store, going = machine.at(STORE), machine.at(_GOING)
    if going.exists():
        _keep_aside(machine, store)
    elif store.exists():
        store.rename(going)
    os.sync()


def _keep_aside(machine: Machine, folder: Path) -> None:
    """Keep, under a name that is free, what is not the readings any more."""
    if not folder.exists():
        return
    names = itertools.chain([_ASIDE], (f"{_ASIDE}-{n}" for n in itertools.count(2)))
    aside = next(a for name in names if not (a := folder.with_name(name)).exists())
    folder.rename(aside)
    machine.say(f"What was written since the upgrade began is kept in {aside}.")
