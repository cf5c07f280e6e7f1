"""The body of an alarm event, in words, by what the alarm compares."""

from typing import Any

from ventwright.notifying.message import Context
from ventwright.notifying.words import amount, dose_unit, signed, subject_of
from ventwright.settings.durations import format_duration
from ventwright.settings.model import DAY, MINUTE
from ventwright.storage.reader import StoredEvent
from ventwright_drivers.quantities import QUANTITIES

_NOT_SEEN = "Low-cost optical sensors do not see ultrafine particles."
_NO_CONCENTRATION = (
    "A raw signal is no concentration: humidity, heat and the age of the part move it too."
)
_NOT_CERTIFIED = "Not a certified alarm."


def alarm_words(event: StoredEvent, context: Context) -> "Alarm":
    """Choose the words for what the alarm compares."""
    return _KINDS.get(str(event.body.get("compare")), Alarm)(event, context)


class Alarm:
    """An alarm on a mean, and what all kinds have in common."""

    what = "mean"
    verbs = ("too high", "higher still")
    still = "It rises"

    def __init__(self, event: StoredEvent, context: Context) -> None:
        """Read the event; whatever is missing in it is told as unknown."""
        self.body: dict[str, Any] = event.body
        self.context, self.t = context, event.t
        kind = str(self.body.get("quantity"))
        quantity = QUANTITIES.get(kind)
        self.name = quantity.title if quantity else kind
        self.subject = subject_of(kind, self.name)
        self.unit = self.body.get("unit") or (quantity.unit if quantity else "")
        self.mean_unit = quantity.unit if quantity else self.unit
        over = self.body.get("over") or 0
        self.over = "24 h" if over == DAY else format_duration(over)
        self.priority = str(self.body.get("priority") or "medium")

    @property
    def place(self) -> str:
        """Write `PM2.5 at bench`."""
        part = str(self.body.get("channel") or "").partition(".")[0]
        return f"{self.name} at {part}" if part else self.name

    def number(self, value: float | None) -> str:
        """Write a compared value."""
        return amount(value, self.unit)

    def short(self, value: float | None) -> str:
        """Write `PM2.5 27 µg/m³`; the name only where the subject does not say it."""
        written = self.number(value)
        return written if self.subject == self.name else f"{self.name} {written}"

    def headline(self, worse: bool) -> str:
        """Say what is wrong, for the title."""
        verb = "rising" if self._minutes() and not worse else self.verbs[worse]
        return f"{self.subject} {verb} ({self.short(self.body.get('value'))})"

    def _minutes(self) -> int | None:
        """In how many minutes an alarm that looks ahead expects its setpoint; None: it is there."""
        reaches: int | None = self.body.get("reaches")
        if reaches is None or self.body.get("expected") is None:
            return None
        return max(1, round((reaches - self.t) / MINUTE))

    def is_over(self) -> str:
        """Say that it is over, for the title."""
        return f"{self.subject} back to normal (peak {self.short(self.body.get('peak'))})"

    def was(self) -> str:
        """Say what was and is over, where its beginning was not told."""
        return f"{self.subject} went up (peak {self.short(self.body.get('peak'))}), over"

    def measured(self) -> str:
        """Say what was measured over what, and what it is usually."""
        body = self.body
        mean = body.get("mean") if body.get("mean") is not None else body.get("value")
        first = f"{self.place} averaged {amount(mean, self.mean_unit, 1)} over {self.over}"
        return f"{first}{self._baseline()}."

    def _baseline(self) -> str:
        body = self.body
        if body.get("baseline") is None or body.get("rise") is None:
            return "; this room's baseline is not known yet"
        young = " (young, so uncertain)" if body.get("young") else ""
        where = "above" if body["rise"] >= 0 else "below"
        usual = f"this room's baseline of {body['baseline']:.1f}"
        return f", {abs(body['rise']):.1f} {where} {usual}{young}"

    def setpoint(self) -> str:
        """Say where the alarm stands."""
        edge, minutes = amount(self.body.get("setpoint"), self.unit), self._minutes()
        if minutes is None:
            return f"Setpoint: {self.what} of {edge}."
        return f"{self.still}: the setpoint, a {self.what} of {edge}, is {minutes} min away."

    def peak(self) -> str:
        """Say how high it went."""
        return f"Peak: {self.short(self.body.get('peak'))}."

    def dose(self) -> str:
        """Say what the room's air amounted to over the episode, where that means something."""
        unit, dose = dose_unit(self.mean_unit), self.body.get("dose")
        return f"Dose{self._over_what()}: {amount(dose, unit)}." if unit and dose else ""

    def _over_what(self) -> str:
        return ""

    def advice(self) -> str:
        """Say what to do."""
        dangerous = self.body.get("quantity") == "co"
        return "Leave the room and air it." if dangerous else "Best stay out."

    def limit(self) -> str:
        """Say which published limit it compares with."""
        sentence = self.context.limits.get(str(self.body.get("limit")), "").rstrip(".")
        return f"For comparison: {sentence}." if sentence else ""

    def honesty(self) -> str:
        """Say what is not seen, and what this is not."""
        return f"{_NOT_SEEN} {_NOT_CERTIFIED}" if self.body.get("optical") else _NOT_CERTIFIED


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
    verbs = ("being emitted", "emitted more strongly still")

    def number(self, value: float | None) -> str:
        if value is None or value < 1000:
            return amount(value, "µg/h", 0)
        return f"{value / 1000:.1f} mg/h"

    def measured(self) -> str:
        if self.body.get("change") == "cleared":
            return f"{self.place}: {self._now()}."
        told = self.number(self.body.get("value"))
        return f"Something puts about {told} of {self.name} into the room's air; {self._now()}."

    def _now(self) -> str:
        return f"it averaged {amount(self.body.get('mean'), self.mean_unit, 1)} over {self.over}"

    def is_over(self) -> str:
        return f"{self.subject} no longer emitted"

    def was(self) -> str:
        return f"{self.subject} were emitted (peak {self.number(self.body.get('peak'))}), over"


class _Rate(_Rise):
    what = "rate"
    verbs = ("rising fast", "rising faster still")

    def is_over(self) -> str:
        return f"{self.subject} no longer rising fast"

    def was(self) -> str:
        return f"{self.subject} rose fast, no longer do so"


class _Forecast(Alarm):
    what = "expected mean"

    @property
    def mean(self) -> str:
        return f"{self.name} {self.over} mean"

    @property
    def edge(self) -> str:
        return amount(self.body.get("setpoint"), self.unit)

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
        return self.name.removeprefix("resistance of the ")

    def number(self, value: float | None) -> str:
        return "off by an unknown share" if value is None else f"{value:.0f} % off"

    def headline(self, worse: bool) -> str:
        now = self.number(self.body.get("value"))
        return f"{self.signal} {'now ' if worse else ''}{now} clean air"

    def measured(self) -> str:
        mean, base = self.body.get("mean"), self.body.get("baseline")
        first = f"{self.place} averaged {amount(mean, self.mean_unit, 0)} over {self.over}"
        if mean is None or not base:
            return f"{first}; what it is in this room's clean air is not known yet."
        young = " (young, so uncertain)" if self.body.get("young") else ""
        return f"{first}, {mean / base:.2f} of the {base:.0f} of this room's clean air{young}."

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
        return f"{_NO_CONCENTRATION} {_NOT_CERTIFIED}"


class _Silence(Alarm):
    what = "silence"

    def number(self, value: float | None) -> str:
        return "an unknown time" if value is None else format_duration(round(value * MINUTE))

    def headline(self, worse: bool) -> str:  # noqa: ARG002
        return f"{self.place} silent for {self.number(self.body.get('value'))}"

    def measured(self) -> str:
        if self.body.get("change") == "cleared":
            return f"{self.place} gives good readings again."
        silent = self.number(self.body.get("value"))
        return f"{self.place} has given no good reading for {silent}: the air there is unknown."

    def setpoint(self) -> str:
        return f"Setpoint: silence of {self.over}."

    def is_over(self) -> str:
        return f"{self.place} is read again"

    def was(self) -> str:
        return f"{self.place} was silent, is read again"

    def peak(self) -> str:
        return f"It was silent for {self.number(self.body.get('peak'))}."

    def advice(self) -> str:
        return "Check the sensor and its cable."

    def honesty(self) -> str:
        return _NOT_CERTIFIED


_KINDS: dict[str, type[Alarm]] = {
    "mean": Alarm,
    "rise": _Rise,
    "rate": _Rate,
    "forecast": _Forecast,
    "departure": _Departure,
    "emission": _Emission,
    "silence": _Silence,
}
