"""Runs the keeper until it is told to stop: `python -m ventwright.keeper --config FILE`."""

import argparse
import logging
import signal
import sys
import threading
from pathlib import Path

from ventwright.keeper.alone import NOT_ALONE, NotAloneError
from ventwright.keeper.labels import machine_labels
from ventwright.keeper.process import Keeper
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.model import HOUR, Settings
from ventwright.settings.plan import read_settings
from ventwright.storage.keeping import Labels
from ventwright.wires import machine_wiring
from ventwright_drivers.clock import Clock, SystemClock, boot_id
from ventwright_drivers.part import Wiring


def _words() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="ventwright.keeper")
    parser.add_argument("--config", type=Path, required=True)
    parser.add_argument("--rehearsal", type=Path, help=argparse.SUPPRESS)
    return parser.parse_args()


def _surroundings(words: argparse.Namespace, settings: Settings) -> tuple[Wiring, str, Labels]:
    if words.rehearsal:
        from ventwright.rehearsal.lockstep import rehearsal_surroundings

        return rehearsal_surroundings(words.rehearsal)
    clock = SystemClock()
    return machine_wiring(clock), boot_id(), machine_labels(clock, settings.clock.has_battery)


def _obey_signals(clock: Clock) -> None:
    """Let SIGTERM and SIGINT stop the machine's clock; a rehearsal's world stops its own."""

    def stop(*_: object) -> None:
        if isinstance(clock, SystemClock):
            threading.Thread(target=clock.stop).start()  # its locks may be held right here

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, stop)


def main() -> int:
    """Run; returns the exit status: 0 after an orderly stop, 1 if the core failed.

    2 for a bad configuration, NOT_ALONE if another keeper runs on this store.
    """
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s: %(message)s")
    words = _words()
    try:
        settings = read_settings(words.config)
    except ConfigurationError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    wiring, boot, labels = _surroundings(words, settings)
    relays = None if words.rehearsal else machine_wiring(SystemClock())
    keeper = Keeper(settings, wiring, boot, labels, relays)
    _obey_signals(wiring.clock)
    try:
        keeper.start()
    except NotAloneError as error:
        sys.stderr.write(f"{error}\n")
        return NOT_ALONE
    if not words.rehearsal:
        keeper.examine_all()
    while not wiring.clock.stopped:
        wiring.clock.sleep_until(wiring.clock.now() + HOUR)
    keeper.stop("it was told to stop")
    return 1 if keeper.failed else 0


if __name__ == "__main__":
    sys.exit(main())
