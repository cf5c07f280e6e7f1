"""Puts a release in the place of the one in use, and goes back if it does not become ready."""

import shutil
from pathlib import Path

from installer import services, system
from installer.first import CONFIG
from installer.machine import Machine, Refusal, last_words
from installer.releases import Release, use

STORE = "/var/lib/ventwright"
_COPY = "/var/lib/ventwright-before"
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
    services.stop(machine)
    copied = _copy_store(machine, old, new)
    try:
        _go(machine, new)
    except Refusal as error:
        _back(machine, old, copied, str(error))
    if copied:
        shutil.rmtree(machine.at(_COPY))


def _go(machine: Machine, release: Release) -> None:
    use(machine, release)
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


def _back(machine: Machine, old: Release, copied: bool, why: str) -> None:
    """Use the old release again, its readings with it; raises Refusal in any case."""
    machine.say("The new version did not become ready; going back to the one before ...")
    machine.run("systemctl", "stop", *system.UNITS)
    if copied:
        _put_back(machine)
    try:
        _go(machine, old)
    except Refusal as error:
        raise Refusal(
            f"The new version did not become ready ({why}), and neither does the one before now "
            f"({error}): see journalctl -u ventwright-keeper. Configuration and readings are kept."
        ) from None
    raise Refusal(
        f"The new version did not become ready ({why}). The one before runs again; "
        "configuration and readings are as they were."
    )


def _schema(machine: Machine, release: Release) -> str:
    return last_words(machine.run(release.python, "-c", _SCHEMA).stdout)


def _copy_store(machine: Machine, old: Release, new: Release) -> bool:
    """Copy the stopped store where the new release will change its tables; True if it did."""
    store, copy = machine.at(STORE), machine.at(_COPY)
    if not store.is_dir() or _schema(machine, old) == _schema(machine, new):
        return False
    _refuse_no_room(store)
    machine.say("Copying the readings, for the new version changes how they are kept ...")
    shutil.rmtree(copy, ignore_errors=True)
    machine.must("The readings could not be copied", "cp", "-a", store, copy)
    return True


def _refuse_no_room(store: Path) -> None:
    need = sum(file.stat().st_size for file in store.rglob("*") if file.is_file())
    free = shutil.disk_usage(store).free
    if free < need + 50_000_000:
        raise Refusal(
            f"The readings take {need // 1_000_000} MB and must be copied before this upgrade, but "
            f"only {free // 1_000_000} MB are left: make room, then run this again. Until then "
            "`systemctl start ventwright-keeper ventwright-courier` goes on as before."
        )


def _put_back(machine: Machine) -> None:
    """Give the copy its place again; what the new version wrote is kept beside it."""
    store, copy = machine.at(STORE), machine.at(_COPY)
    aside = store.with_name("ventwright-failed-upgrade")
    shutil.rmtree(aside, ignore_errors=True)
    store.rename(aside)
    copy.rename(store)
    machine.say(f"What the new version wrote is kept in {aside}.")
