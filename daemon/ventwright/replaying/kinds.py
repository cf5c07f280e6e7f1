"""What the configured parts are, without touching a port."""

from pathlib import Path
from typing import Any

from ventwright.keeper.process import build_part, kind_of
from ventwright.quality.judge import PartKind
from ventwright.settings.model import Settings
from ventwright_drivers.clock import SystemClock
from ventwright_drivers.part import Wiring


def _nothing(*_: Any, **__: Any) -> Any:
    """Stand for every port: there is none in a replay."""
    raise FileNotFoundError(2, "a replay touches no port", str(Path("/nowhere")))


def kinds_of(settings: Settings) -> dict[str, PartKind]:
    """Tell what the core must know of every part."""
    wiring = Wiring(SystemClock(), _nothing, _nothing, _nothing)
    return {name: kind_of(build_part(entry, wiring)) for name, entry in settings.parts.items()}
