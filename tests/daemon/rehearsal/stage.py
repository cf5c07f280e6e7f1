"""Plays a scenario with the stub keeper in this process, as fast as it goes."""

import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

from daemon.rehearsal.stub_keeper import StubKeeper
from ventwright.rehearsal.hosting import Pace, Stage, host
from ventwright.rehearsal.lockstep import rehearsal_wiring
from ventwright.rehearsal.scenario import DEFAULT, Fault, Scenario
from ventwright.rehearsal.wire import listen
from ventwright.rehearsal.world import START_MS, Moment, World

FUMES = {
    "print-fumes": {
        "channel": "bench.pm2_5",
        "compare": "rise",
        "over": "1 min",
        "setpoint": 20.0,
        "deadband": 8.0,
        "priority": "medium",
    }
}
"""A plain alarm, which clears early enough for a short rehearsal."""


def shortened(duration: int, *faults: Fault, **changes: Any) -> Scenario:
    return replace(DEFAULT, duration=duration, faults=faults, **changes)


class Played:
    """What came of a scenario; times in s since its start."""

    def __init__(self, folder: Path, scenario: Scenario, seed: int = 1) -> None:
        self.moments: list[Moment] = []
        folder.mkdir()
        self.world = World(scenario, seed, folder, self.moments.append)
        listener = listen(folder / "world.socket")
        stage = Stage(self.world, f"rehearsal-{seed}", 7, Pace(None))
        ended = threading.Event()
        hosting = threading.Thread(target=host, args=(listener, stage, lambda: not ended.is_set()))
        hosting.start()
        try:
            wiring = rehearsal_wiring(folder / "world.socket")
            self.boot, self.offset = wiring.boot, wiring.offset
            self.keeper = StubKeeper(wiring, folder, scenario)
            self.keeper.run()
            wiring.world.close()
        finally:
            ended.set()
            hosting.join()
            listener.close()
            self.world.close()
        before_end = START_MS + 1000 * scenario.duration - 1000
        self.log = [
            ((t - START_MS) / 1000, who, what) for t, who, what in self.keeper.log if t < before_end
        ]

    def of(self, who: str) -> list[tuple[float, Any]]:
        return [(t, what) for t, name, what in self.log if name == who]
