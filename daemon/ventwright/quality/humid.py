"""What humid air does to the mass that an optical part reads: particles swell and scatter more.

Above about 85 %RH the reading is too high by a factor that nobody knows without knowing the
particles. Such readings are marked humid. What that means, and why:

- Without the correction they are stored and not judged, like every reading that cannot be
  trusted. Judged, each foggy night would be an alarm, and the baseline would learn fog. A humid
  day cannot hide a print for long all the same: the channel has no trustworthy data then, and
  after its time the extractor goes to the state that the owner chose for that case (usually on),
  and the owner is told. It needs a humidity channel that the owner named; without one, humidity is
  not known, and nothing is marked.
- With the correction they stay good: what is judged and stored is the reading divided by the
  published factor, at every humidity, so that nothing jumps at 85 %RH. It is off unless asked,
  for the factor is that of outdoor air. What printers emit takes up hardly any water, so that a
  print in humid air is then shown too low: by 3 at 90 %RH. Whoever switches it on should know.
- If nothing has been heard of the humidity for a while, nothing is corrected: the reading errs on
  the high side, and the extractor runs rather than not.
"""

from ventwright.quality.marks import Quality
from ventwright.standards.humid import growth
from ventwright_drivers.quantities import QUANTITIES

Steps = tuple[int | None, ...]

HUMID_ABOVE = 85.0
"""%RH above which optical mass is not to be trusted. Common practice."""

REMEMBERED_MS = 5 * 60_000
"""How long a humidity counts. Air that is wet now and then is wet: no flicker at the edge."""

_MASS = ("pm1", "pm2_5", "pm4", "pm10")
_PER_PERCENT = QUANTITIES["humidity"].per_unit
_NEVER = -(1 << 62)


class Humid:
    """The air of one optical part, as one humidity channel tells it."""

    def __init__(self, kept: tuple[str, ...], kappa: float | None = None) -> None:
        """Take the part's quantities in their order; `kappa` corrects, None marks only."""
        self._mass = [place for place, name in enumerate(kept) if name in _MASS]
        self._kappa = kappa
        self._factor = 1.0
        self._heard = _NEVER
        self._wet = _NEVER

    def hear(self, t: int, step: int) -> None:
        """Take a good humidity reading, in whole steps, at `t` ms."""
        humidity = step / _PER_PERCENT
        self._heard = t
        if humidity > HUMID_ABOVE:
            self._wet = t
        if self._kappa is not None:
            self._factor = growth(humidity, self._kappa)

    def factor(self, t: int) -> float:
        """Tell by what optical mass is divided at `t` ms; 1 without correction or humidity."""
        known = self._kappa is not None and t - self._heard <= REMEMBERED_MS
        return self._factor if known else 1.0

    def humid(self, t: int) -> bool:
        """Tell whether more than 85 %RH was shown within 5 min before `t` ms."""
        return t - self._wet <= REMEMBERED_MS

    def judge(self, t: int, steps: Steps, marks: bytes) -> tuple[Steps, bytes]:
        """Give a sample with its optical mass corrected, or its good marks made humid.

        Other quantities, and readings that are not good, stay as they are.
        """
        factor = self.factor(t)
        if factor > 1:
            return self._corrected(steps, marks, factor), marks
        return steps, self._marked(marks) if self.humid(t) else marks

    def _corrected(self, steps: Steps, marks: bytes, factor: float) -> Steps:
        changed = list(steps)
        for place in self._mass:
            step = changed[place]
            if step is not None and marks[place] == Quality.GOOD:
                changed[place] = round(step / factor)
        return tuple(changed)

    def _marked(self, marks: bytes) -> bytes:
        changed = bytearray(marks)
        for place in self._mass:
            if marks[place] == Quality.GOOD:
                changed[place] = Quality.HUMID
        return bytes(changed)
