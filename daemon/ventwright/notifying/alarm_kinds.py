"""What each kind of alarm says otherwise than one on a mean, by what it compares."""

from ventwright.notifying.alarm_words import Alarm
from ventwright.notifying.message import Context
from ventwright.notifying.naming import NO_CONCENTRATION, NOT_CERTIFIED, capital
from ventwright.notifying.words import amount, signed
from ventwright.settings.durations import format_duration
from ventwright.settings.model import MINUTE
from ventwright.storage.reader import StoredEvent


def alarm_words(event: StoredEvent, context: Context) -> Alarm:
    """Choose the words for what the alarm compares."""
    return _KINDS.get(str(event.body.get("compare")), Alarm)(event, context)


class _Rise(Alarm):
    what = "rise"
    verbs = ("rising", "rising further")
    still = "It rises as from a source"

    def number(self, value: float | None) -> str:
        return signed(value, self.unit)

    def _over_what(self) -> str:
        return " above the baseline"


class _Emission(Alarm):
    what = "emission"
    verbs = ("being emitted", "emitted more strongly")

    def number(self, value: float | None) -> str:
        if value is None or value < 1000:
            return amount(value, "µg/h", 0)
        return f"{value / 1000:.1f} mg/h"

    @property
    def edge(self) -> str:
        return self.number(self.body.get("setpoint"))

    def measured(self) -> str:
        if self.body.get("change") == "cleared":
            return capital(f"{self.place}: {self._now()}.")
        told = self.number(self.body.get("value"))
        name = self.naming.title
        return f"Something puts about {told} of {name} into the room's air; {self._now()}."

    def _now(self) -> str:
        return f"it averaged {amount(self.body.get('mean'), self.mean_unit, 1)} over {self.over}"

    def is_over(self) -> str:
        return f"{self.subject} no longer emitted"

    def was(self) -> str:
        verb = "were" if self.subject == "particles" else "was"
        return f"{self.subject} {verb} emitted (peak {self.number(self.body.get('peak'))}), over"


class _Rate(_Rise):
    what = "rate"
    verbs = ("rising fast", "rising faster")

    def is_over(self) -> str:
        return f"{self.subject} no longer rising fast"

    def was(self) -> str:
        return f"{self.subject} rose fast for a while"


class _Forecast(Alarm):
    what = "expected mean"

    @property
    def mean(self) -> str:
        return f"{self.naming.full} {self.over} mean"

    def _when(self) -> str:
        """Write `at 16:40`, or `in 2 h` while the clock is not trusted."""
        reaches = self.body.get("reaches")
        if reaches is None:
            return "soon"
        time = self.context.time_of_day(reaches)
        left = max(MINUTE, (reaches - self.t) // MINUTE * MINUTE)
        return f"at {time}" if time else f"in {format_duration(left)}"

    def _reached(self) -> bool:
        reaches = self.body.get("reaches")
        return reaches is not None and reaches <= self.t

    def headline(self, worse: bool) -> str:
        if worse:
            return f"{self.mean} heads for {self.number(self.body.get('value'))}"
        if self._reached():
            return f"{self.mean} has reached {self.edge}"
        return f"{self.mean} reaches {self.edge} {self._when()}"

    def measured(self) -> str:
        mean = amount(self.body.get("mean"), self.mean_unit, 1)
        now = f"The {self.over} mean of {self.place} is {mean}"
        if self._reached():
            return f"{now}, so {self.edge} is reached."
        if self.body.get("reaches") is None:
            return f"{now}."
        return f"{now}. At this rate it reaches {self.edge} {self._when()}."

    def is_over(self) -> str:
        return f"{self.mean} no longer heads for {self.edge}"

    def was(self) -> str:
        return f"{self.mean} headed for {self.edge}, is over"

    def peak(self) -> str:
        return f"Highest that it was expected to be: {self.number(self.body.get('peak'))}."


class _Departure(Alarm):
    """A raw signal is told by its ratio to clean air, and never as a concentration."""

    @property
    def signal(self) -> str:
        """What moved, short enough for a title."""
        return self.naming.short

    def number(self, value: float | None) -> str:
        return "off by an unknown share" if value is None else f"{value:.0f} % off"

    def headline(self, worse: bool) -> str:
        now = self.number(self.body.get("value"))
        return f"{self.signal} {'now ' if worse else ''}{now} clean air"

    def measured(self) -> str:
        mean, base = self.body.get("mean"), self.body.get("baseline")
        first = f"{self.place} averaged {amount(mean, self.mean_unit, 0)} over {self.over}"
        if mean is None or not base:
            return capital(f"{first}; what it is in this room's clean air is not known yet.")
        young = " (young, so uncertain)" if self.body.get("young") else ""
        return capital(
            f"{first}, {mean / base:.2f} of the {base:.0f} of this room's clean air{young}."
        )

    def setpoint(self) -> str:
        return f"Setpoint: {self.number(self.body.get('setpoint'))} clean air."

    def is_over(self) -> str:
        return f"{self.signal} near clean air again"

    def was(self) -> str:
        return f"{self.signal} was {self.number(self.body.get('peak'))} clean air"

    def peak(self) -> str:
        return f"At worst: {self.number(self.body.get('peak'))} clean air."

    def advice(self) -> str:
        return "Something may be giving off gas: air the room."

    def honesty(self) -> str:
        return f"{NO_CONCENTRATION} {NOT_CERTIFIED}"


class _Silence(Alarm):
    what = "silence"

    def number(self, value: float | None) -> str:
        return "an unknown time" if value is None else format_duration(round(value * MINUTE))

    def headline(self, worse: bool) -> str:  # noqa: ARG002
        return f"{self.spot} silent for {self.number(self.body.get('value'))}"

    def measured(self) -> str:
        if self.body.get("change") == "cleared":
            return capital(f"{self.place} gives good readings again.")
        silent = self.number(self.body.get("value"))
        first = f"{self.place} has given no good reading for {silent}"
        return capital(f"{first}: the air there is unknown.")

    def setpoint(self) -> str:
        return f"Setpoint: silence of {self.over}."

    def is_over(self) -> str:
        return f"{self.spot} is read again"

    def was(self) -> str:
        return f"{self.spot} was silent, is read again"

    def peak(self) -> str:
        return f"It was silent for {self.number(self.body.get('peak'))}."

    def advice(self) -> str:
        return "Check the sensor and its cable."

    @property
    def urgent(self) -> bool:
        return False

    def honesty(self) -> str:
        return NOT_CERTIFIED


_KINDS: dict[str, type[Alarm]] = {
    "mean": Alarm,
    "rise": _Rise,
    "rate": _Rate,
    "forecast": _Forecast,
    "departure": _Departure,
    "emission": _Emission,
    "silence": _Silence,
}
