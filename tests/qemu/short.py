"""The whole board in its short form: `cd tests && python -m qemu.short [SECONDS]`.

Built, booted, installed over a configuration, its power cut once, booted again. It judges what is
there, never how fast it came. Where no board can be built or booted here, or the seconds are over,
it says so and leaves with status 75.
"""

import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from qemu.image import OutsideError
from qemu.workshop import CLEAN, CONFIG, DIRTY, Workshop, build, within

UNJUDGED = 75
PATIENCE_S = 3600.0
"""Longer than the whole may take: nothing is judged by its time."""

LEAST_S = 150
"""With less it is not begun: building alone takes 75 s and more, and there are two boots."""

NEEDED_MB = 1500


class _TimeIsOverError(BaseException):
    """The seconds given are over."""


def _ring(*_: object) -> None:
    raise _TimeIsOverError


class Steps:
    """Tells each step and how long it took."""

    def __init__(self) -> None:
        """Nothing was done yet."""
        self.name = ""
        """The step that was begun last."""

    def take(self, name: str, do: Callable[[], Any]) -> Any:
        """Do a step and return what it gave."""
        self.name = name
        begun = time.monotonic()
        given = do()
        print(f"  {name}: {time.monotonic() - begun:.0f} s", flush=True)
        return given


def lacking() -> str:
    """Say what this machine lacks for a board, or nothing."""
    for program in ("qemu-system-x86_64", "mmdebstrap"):
        if shutil.which(program) is None:
            return f"{program} is not installed"
    told = dict(line.split(":") for line in Path("/proc/meminfo").read_text().splitlines())
    free = int(told["MemAvailable"].split()[0]) // 1024
    return f"only {free} MB of memory are free, not {NEEDED_MB}" if free < NEEDED_MB else ""


def install(shop: Workshop) -> None:
    """Install as one does who has a configuration, and does it once more where asked to."""
    shop.type("mkdir /etc/ventwright")
    shop.write("/etc/ventwright/ventwright.toml", CONFIG)
    said = shop.install()
    if said.status:
        print(said.text)
        said = shop.install()
    assert said.status == 0, said.text


def switch_on_in_dirty_air(shop: Workshop) -> None:
    """See the relay switched, and readings come after that."""
    within(PATIENCE_S, lambda: shop.extracting, "extraction in dirty air")
    assert shop.witness is not None
    shop.witness.caught_up(shop.witness.seen(), 2, PATIENCE_S)


def come_back(shop: Workshop) -> None:
    """Boot after the cut: committed rows are there, readings flow, the relay follows the air."""
    assert shop.known
    assert not shop.extracting
    shop.boot()
    assert shop.witness is not None
    shop.witness.caught_up(shop.known, 1, PATIENCE_S)
    within(PATIENCE_S, lambda: shop.extracting, "extraction in dirty air after the boot")
    shop.level = CLEAN
    within(PATIENCE_S, lambda: not shop.extracting, "no extraction in clean air")


def run(folder: Path, steps: Steps) -> None:
    """Go through all steps; raises AssertionError where something is not as it must be."""
    steps.take("built", lambda: build(folder, prebuilt=True))
    shop = Workshop(folder)
    shop.level = DIRTY
    try:
        steps.take("booted", shop.boot)
        shop.furnish()
        steps.take("installed", lambda: install(shop))
        steps.take("relay switched", lambda: switch_on_in_dirty_air(shop))
        shop.cut_power()
        steps.take("power cut, booted, readings and relay as before", lambda: come_back(shop))
        print(f"  {len(shop.known)} committed rows, all there")
    finally:
        shop.close()


def main() -> int:
    """Tell how it went; status 0 if all is well, 1 if not, 75 if it could not be judged."""
    steps = Steps()
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else int(PATIENCE_S)
    why = lacking() if seconds >= LEAST_S else f"{seconds} s are too few to begin with"
    if not why:
        signal.signal(signal.SIGALRM, _ring)
        signal.alarm(seconds)
        try:
            with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
                run(Path(name), steps)
        except AssertionError as error:
            print(f"The board is NOT well in the step `{steps.name}`: {error}")
            return 1
        except OutsideError as error:
            why = str(error)
        except OSError as error:
            why = f"the board does not answer in the step `{steps.name}`: {error}"
        except _TimeIsOverError:
            why = f"{seconds} s were not enough, at the step `{steps.name}`"
        signal.alarm(0)
    print(f"The board was NOT tested on this machine: {why}." if why else "The board is well.")
    return UNJUDGED if why else 0


if __name__ == "__main__":
    sys.exit(main())
