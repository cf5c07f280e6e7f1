"""The order of an installation; each step is a module of its own."""

import argparse
import contextlib
import os
import sys
from pathlib import Path

from installer import buses, first, needs, releases, services, system, upgrading
from installer.machine import Machine, Refusal
from installer.releases import Release
from installer.removing import remove

SOURCE = Path(__file__).resolve().parents[2]
_AGAIN = "put it right, then run this again."
_DONE = """
Ventwright runs, and will at every start of this board.
  ventwright status                        what it sees and does
  /etc/ventwright/ventwright.toml          its configuration; example.toml beside it explains all
  /etc/ventwright/phone-services           where messages go: one address a line, and then
                                           sudo systemctl restart ventwright-courier
  journalctl -u ventwright-keeper          what it had to say"""


def _words(given: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="systemd/install",
        description="Install Ventwright on this board, or upgrade it; run again at any time.",
    )
    parser.add_argument(
        "--analysis", action="store_true", help="plots and statistics, too; upgrades keep them"
    )
    parser.add_argument("--remove", action="store_true", help="remove it; readings stay")
    parser.add_argument(
        "--with-data", action="store_true", help="with --remove: readings and configuration too"
    )
    words = parser.parse_args(given)
    if words.with_data and not words.remove:
        parser.error("--with-data goes with --remove only")
    return words


def install(machine: Machine, source: Path, analysis: bool) -> None:
    """Install or upgrade; raises Refusal with one sentence, whatever ran before still running."""
    needs.check(machine)
    upgrading.settle(machine)
    old = releases.current(machine)
    new = releases.build(machine, source, analysis or (old is not None and old.analysis))
    if machine.at(first.CONFIG).exists():
        upgrading.refuse_misfit(machine, new)
    if old == new and services.running(machine) and not system.fit(machine, new):
        machine.say(f"{new.folder.name} is in place and runs already.")
        return
    _surround(machine, old, new)
    if not first.configured(machine, new):
        return
    runs = services.running(machine)
    if not runs:
        _check(machine, new)
    upgrading.change(machine, old, new)
    releases.forget_old(machine, old, new)
    if runs:
        machine.show(new.command, "status")
    machine.say(_DONE)


def _surround(machine: Machine, old: Release | None, new: Release) -> None:
    """Prepare a machine that has no release in use yet, or complete one whose install was cut."""
    if old is None or old == new:
        releases.use(machine, new)
        system.fit(machine, new)
    buses.see_to(machine)
    system.let_in(machine)
    system.guard(machine)
    system.explain_limits(machine)


def _check(machine: Machine, release: Release) -> None:
    """Show what `check` finds; a part that is not well yet keeps nobody from watching the rest."""
    machine.say("")
    if machine.show(release.command, "check", "--config", machine.at(first.CONFIG)):
        machine.say("Not all is well yet, see above; the rest is watched all the same.")


def main(given: list[str]) -> int:
    """Do what is asked; the exit status: 0, or 1 after a sentence on what is in the way."""
    words = _words(given)
    os.umask(0o022)
    machine = Machine()
    machine.hear_stops()
    try:
        if words.remove:
            remove(machine, words.with_data)
        else:
            install(machine, SOURCE, words.analysis)
    except Refusal as error:
        return _ended(str(error))
    except OSError as error:
        return _ended(f"{error.filename or 'This machine'}: {error.strerror or error}; {_AGAIN}")
    except KeyboardInterrupt:
        return _ended("Stopped; run it again to go on.")
    return 0


def _ended(why: str) -> int:
    with contextlib.suppress(OSError):  # the terminal may be gone
        sys.stderr.write(f"{why}\n")
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
