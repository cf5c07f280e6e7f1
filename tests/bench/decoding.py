"""Throughput of each decoder whose twin sends by itself: frames a second on one core."""

import time

from fakes import FakeClock, wiring
from ventwright_drivers import registry
from ventwright_drivers.emulated.twin import SerialTwin
from ventwright_drivers.serial.link import FramedPart


def _air(_: str) -> float:
    return 12.0


def _frame(twin: SerialTwin) -> bytes:
    """The first frame that a twin sends by itself within ten minutes, or nothing."""
    for now in range(0, 600_000, 500):
        if data := twin.emit(now):
            return data
    return b""


def measure(rounds: int) -> list[tuple[str, str, str]]:
    """Decode each part's own frame many times."""
    rows, twins = [], registry.twins()
    for model, driver in registry.parts().items():
        if not issubclass(driver, FramedPart) or not issubclass(twins[model], SerialTwin):
            continue
        data = _frame(twins[model](_air))
        if not data:
            continue
        part = driver(driver.Options("/dev/null"), wiring(FakeClock()))
        began = time.process_time()
        for _ in range(rounds):
            part.decode(data)
        rate = rounds / (time.process_time() - began)
        rows.append((f"decoder of {model}", "-", f"{rate:,.0f} frames/s"))
    return rows
