"""A stand-in for the keeper: real drivers on a rehearsal's wiring, and a rule of one line.

Runs alone too: `python stub_keeper.py SOCKET FOLDER SCENARIO` writes what it decided as JSON.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ventwright.rehearsal.lockstep import RehearsalWiring, rehearsal_wiring
from ventwright.rehearsal.scenario import DEFAULT, Scenario
from ventwright_drivers import registry
from ventwright_drivers.errors import DriverError

SETPOINT, CLEAR = 20.0, 12.0
_OPTIONS: dict[str, dict[str, Any]] = {
    "relay-modbus": {},
    "relay-a0": {},
    "relay-gpio": {"line": 17},
}


class StubKeeper:
    def __init__(self, wiring: RehearsalWiring, folder: Path, scenario: Scenario) -> None:
        self.clock = wiring.clock
        self.log: list[tuple[int, str, Any]] = []
        self.samples: list[tuple[int, str, Any]] = []
        self._inbox = self.clock.inbox()
        self._wanted = self.clock.inbox()
        self._parts = {p.name: self._part(p, folder, wiring) for p in scenario.parts}
        driver = registry.relays()[scenario.relay_model]
        options = dict(_OPTIONS[scenario.relay_model])
        if scenario.relay_model != "relay-gpio":
            options["port"] = str(folder / scenario.relay)
        self._relay = driver(driver.Options(**options), wiring)

    @staticmethod
    def _part(setup: Any, folder: Path, wiring: RehearsalWiring) -> Any:
        driver = registry.parts()[setup.model]
        place = {"port": str(folder / setup.name)} if setup.wire == "serial" else {"bus": 1}
        return driver(driver.Options(**place), wiring)

    def _poll(self, name: str, part: Any) -> Callable[[], None]:
        def run() -> None:
            due, running = self.clock.now(), False
            while not self.clock.stopped:
                try:
                    if not running:
                        part.start()
                        running = True
                    sample = part.read()
                    if sample is not None:
                        self._inbox.put((self.clock.now(), name, sample.values))
                    due = self.clock.now() if part.paced_by_part else due + part.period_ms
                except DriverError as error:
                    running = False
                    part.close()
                    self._inbox.put((self.clock.now(), name, type(error).__name__))
                    due = self.clock.now() + 5000
                self.clock.sleep_until(due)
            part.close()

        return run

    def _switch(self) -> None:
        wanted, due = False, self.clock.now()
        self._relay.start()
        while not self.clock.stopped:
            item = self._wanted.get(due)
            wanted = wanted if item is None else bool(item)
            try:
                self._relay.switch(wanted)
                self.log.append((self.clock.now(), "relay", self._relay.state()))
            except DriverError as error:
                self.log.append((self.clock.now(), "relay", type(error).__name__))
            due = self.clock.now() + 10_000
        self._relay.close()

    def _decide(self) -> None:
        on, quiet, slow = False, None, 0.0
        while not self.clock.stopped:
            item: Any = self._inbox.get(self.clock.now() + 1000)
            if item is None:
                continue
            now, name, values = item
            if isinstance(values, str):
                self.log.append((now, name, values))
                continue
            self.samples.append(item)
            if name == "bench" and None not in values:
                slow += (values[1] - slow) / 10
                quiet = slow if quiet is None and len(self.samples) > 200 else quiet
                if quiet is not None and on != (slow - quiet >= (CLEAR if on else SETPOINT)):
                    on = not on
                    self.log.append((now, "extractor", on))
                    self._wanted.put(on)

    def run(self) -> None:
        for name, part in self._parts.items():
            self.clock.spawn(name, self._poll(name, part))
        self.clock.spawn("relay", self._switch)
        self.clock.spawn("core", self._decide).join()


def main(socket: str, folder: str) -> None:
    keeper = StubKeeper(rehearsal_wiring(Path(socket)), Path(folder), DEFAULT)
    keeper.run()
    sys.stdout.write(json.dumps({"readings": len(keeper.samples), "log": keeper.log}))


if __name__ == "__main__":
    main(*sys.argv[1:3])
