"""An alarm event in words, as far as all kinds of alarms have them in common: one on a mean.

Knows one event; what each kind says otherwise is in alarm_kinds.py.
"""

from typing import Any

from ventwright.notifying.message import Context, text
from ventwright.notifying.naming import (
    NOT_CERTIFIED,
    NOT_SEEN,
    capital,
    naming,
)
from ventwright.notifying.words import amount, dose_unit, figure
from ventwright.settings.durations import format_duration
from ventwright.settings.model import DAY, MINUTE
from ventwright.storage.reader import StoredEvent
from ventwright_drivers.quantities import QUANTITIES


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
        self.naming = naming(kind)
        self.subject = self.naming.subject
        self.unit = self.body.get("unit") or (quantity.unit if quantity else "")
        self.mean_unit = quantity.unit if quantity else self.unit
        over = self.body.get("over") or 0
        self.over = "24 h" if over == DAY else format_duration(over)
        self.priority = str(self.body.get("priority") or "medium")

    @property
    def place(self) -> str:
        """Write `PM2.5 at bench`."""
        part = str(self.body.get("channel") or "").partition(".")[0]
        return f"{self.naming.title} at {part}" if part else self.naming.title

    @property
    def spot(self) -> str:
        """Write `VOC index at bench`, short enough for a title."""
        part = str(self.body.get("channel") or "").partition(".")[0]
        return f"{self.naming.full} at {part}" if part else self.naming.full

    def number(self, value: float | None) -> str:
        """Write a compared value."""
        return amount(value, self.unit)

    def short(self, value: float | None) -> str:
        """Write `PM2.5 27 µg/m³`; the name only where the subject does not say it."""
        written = self.number(value)
        short = self.naming.short
        return written if self.subject == short else f"{short} {written}"

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
        return capital(f"{first}{self._baseline()}.")

    def _baseline(self) -> str:
        body = self.body
        if body.get("baseline") is None or body.get("rise") is None:
            return "; this room's baseline is not known yet"
        young = " (young, so uncertain)" if body.get("young") else ""
        where = "above" if body["rise"] >= 0 else "below"
        usual = f"this room's baseline of {figure(body['baseline'], 1)}"
        return f", {figure(abs(body['rise']), 1)} {where} {usual}{young}"

    @property
    def edge(self) -> str:
        """Write the setpoint, in the unit that its value is told in."""
        return amount(self.body.get("setpoint"), self.unit)

    def setpoint(self) -> str:
        """Say where the alarm stands."""
        edge, minutes = self.edge, self._minutes()
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
        return self.naming.advice

    @property
    def urgent(self) -> bool:
        """Tell whether what to do comes before all else: whoever reads on may be harmed."""
        return self.body.get("quantity") == "co"

    def limit(self) -> str:
        """Say which published limit it compares with."""
        sentence = self.context.limits.get(str(self.body.get("limit")), "").rstrip(".")
        return f"For comparison: {sentence}." if sentence else ""

    def honesty(self) -> str:
        """Say what is not seen, and what this is not."""
        unseen = NOT_SEEN if self.body.get("optical") and self.subject == "particles" else ""
        return text(unseen, self.naming.honesty, NOT_CERTIFIED)
