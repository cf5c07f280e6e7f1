"""What happens to judged values before they count: the owner's calibration, and humid air.

Knows the parts by name; knows no alarm and no store.
"""

from ventwright.quality.calibration import Calibrated
from ventwright.quality.humid import Humid, Steps
from ventwright.settings.model import Settings


class Corrections:
    """The corrections of a whole configuration."""

    def __init__(self, settings: Settings) -> None:
        """Take what the configuration asks for; a part without a wish costs next to nothing."""
        self._calibrated = {
            name: Calibrated(entry.quantities, entry.calibration)
            for name, entry in settings.parts.items()
            if entry.calibration
        }
        self._humid = {
            name: Humid(entry.quantities, entry.kappa if entry.humidity_correction else None)
            for name, entry in settings.parts.items()
            if entry.humidity
        }
        self._ears: dict[str, list[tuple[int, Humid]]] = {}
        for name, humid in self._humid.items():
            part, _, quantity = str(settings.parts[name].humidity).partition(".")
            place = settings.parts[part].quantities.index(quantity)
            self._ears.setdefault(part, []).append((place, humid))

    def apply(self, part: str, t: int, steps: Steps, marks: bytes) -> tuple[Steps, bytes]:
        """Correct a part's judged sample at `t` ms: whole steps and a quality mark each."""
        if part in self._calibrated:
            steps = self._calibrated[part](steps)
        for place, humid in self._ears.get(part, ()):
            step = steps[place]
            if not marks[place] and step is not None:
                humid.hear(t, step)
        if part in self._humid:
            return self._humid[part].judge(t, steps, marks)
        return steps, marks

    def factor(self, part: str, t: int) -> float:
        """Tell by what a part's optical mass is divided at `t` ms because of humid air."""
        return self._humid[part].factor(t) if part in self._humid else 1.0
