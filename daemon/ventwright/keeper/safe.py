"""Sets every relay to its written safe state without the daemon.

Run as `python -m ventwright.keeper.safe CONFIGURATION...`; the first that can be read counts.

systemd runs it after every kind of end of the keeper; `ventwright run` does when its keeper dies.
"""

import contextlib
import sys
from collections import defaultdict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from ventwright.settings.errors import ConfigurationError
from ventwright.settings.model import RelayEntry, Settings
from ventwright.settings.plan import read_settings
from ventwright.wires import machine_wiring
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.errors import DriverError
from ventwright_drivers.part import Wiring
from ventwright_drivers.registry import load

TRIES = 5
PAUSE_MS = 1000


def make_safe(settings: Settings, wiring: Wiring, say: Callable[[str], None]) -> bool:
    """Command every relay's safe state, trying a few times; True if all of them obeyed.

    Relays on different ports and buses are commanded at the same time: a dead one delays no other.
    """
    places: dict[str, list[tuple[str, RelayEntry]]] = defaultdict(list)
    for name, entry in settings.relays.items():
        places[_place(name, entry)].append((name, entry))
    with ThreadPoolExecutor(max(1, len(places))) as hands:
        done = hands.map(lambda held: _all_safe(held, wiring, say), places.values())
        return all(list(done))


def _place(name: str, entry: RelayEntry) -> str:
    """Name the port, bus or chip that a relay may share with others; never raises."""
    kinds = (kind for kind in ("port", "bus", "chip") if hasattr(entry.options, kind))
    return next((f"{kind} {getattr(entry.options, kind)}" for kind in kinds), name)


def _all_safe(
    held: list[tuple[str, RelayEntry]], wiring: Wiring, say: Callable[[str], None]
) -> bool:
    """Try all, then again those that did not obey: a dead relay keeps no other waiting."""
    for attempt in range(1, TRIES + 1):
        held = [one for one in held if not _is_safe(*one, attempt, wiring, say)]
        if not held:
            return True
        wiring.clock.sleep_until(wiring.clock.now() + PAUSE_MS)
    return False


def _is_safe(
    name: str, entry: RelayEntry, attempt: int, wiring: Wiring, say: Callable[[str], None]
) -> bool:
    try:
        with load(entry.driver)(entry.options, wiring) as relay:
            relay.switch(entry.safe_state == "on")
    except Exception as error:  # noqa: BLE001 - a driver's bug must cost its own relay only
        why = str(error) if isinstance(error, DriverError) else f"its driver failed: {error!r}"
        say(f"relay {name}: try {attempt} of {TRIES} failed: {why}")
        return False
    say(f"relay {name} is in its safe state: {entry.safe_state}")
    return True


def _first_readable(paths: list[str]) -> Settings:
    """Read the first configuration that can be read; raises ConfigurationError of the last."""
    for path in paths[:-1]:
        with contextlib.suppress(ConfigurationError):
            return read_settings(Path(path))
    return read_settings(Path(paths[-1]))


def main() -> int:
    """Make the relays safe of the first configuration on the command line that can be read."""
    try:
        settings = _first_readable(sys.argv[1:])
    except (ConfigurationError, IndexError) as error:
        sys.stderr.write(f"{error}\n")
        return 2
    wiring = machine_wiring(SystemClock())
    return 0 if make_safe(settings, wiring, print_line) else 1


def print_line(line: str) -> None:
    """Write a line to standard error."""
    sys.stderr.write(f"{line}\n")


if __name__ == "__main__":
    sys.exit(main())
