"""What messages call each quantity, what to do where it is high, and what its figure is not.

Knows quantities; knows no alarm, no event and no number.
"""

from typing import NamedTuple

from ventwright_drivers.quantities import QUANTITIES, Quantity

NOT_SEEN = "Low-cost optical sensors do not see ultrafine particles."
NO_CONCENTRATION = (
    "A raw signal is no concentration: humidity, heat and the age of the part move it too."
)
NOT_CERTIFIED = "Not a certified alarm."

_SHORT = {
    "eco2": "inferred CO2",
    "voc_index": "VOC index",
    "nox_index": "NOx index",
    "gas_resistance": "gas element",
    "humidity": "humidity",
}
"""What fits a title where the quantity's own title does not."""

_ADVICE = {
    "co": "Leave the room and air it.",
    "co2": "Air the room.",
    "eco2": "Air the room.",
    "temperature": "Find what heats the room.",
    "humidity": "Air the room.",
    "pressure": "",
    "fan_speed": "Look at the fan.",
}
"""What to do; where nothing stands here somebody could breathe in what is in the air."""

_NO_FIGURE = {
    "co": "Certified CO alarms stay, and what they say counts.",
    "voc_index": "An index is no concentration.",
    "nox_index": "An index is no concentration.",
    "eco2": "It is inferred from other gases: CO2 itself is not measured.",
}


class Naming(NamedTuple):
    """How a quantity is told."""

    title: str
    """Its whole name: `particles above 0.3 µm`."""
    subject: str
    """What people call what is in the air: `particles`."""
    short: str
    """What tells it from others of its subject: `>0.3 µm`; the subject itself if nothing does."""
    advice: str
    """A sentence on what to do while it is high; empty where there is nothing to say."""
    honesty: str
    """What a figure of it does not tell; empty where nothing has to be said."""

    @property
    def full(self) -> str:
        """The shortest name that stands by itself: `particles >0.3 µm`, `PM2.5`, `humidity`."""
        return f"{self.subject} {self.short}" if self.short.startswith(">") else self.short


def naming(kind: str) -> Naming:
    """Tell how a quantity is told, by its name; an unknown one by that alone."""
    known = QUANTITIES.get(kind)
    title = known.title if known else kind
    short = _SHORT.get(kind, title.replace("particles above ", ">"))
    subject = "particles" if known and _of_particles(known) else short
    advice = _ADVICE.get(kind, "Best stay out.")
    return Naming(title, subject, short, advice, _NO_FIGURE.get(kind, ""))


def _of_particles(quantity: Quantity) -> bool:
    return quantity.name.startswith("pm") or quantity.unit == "1/cm³"


def capital(sentence: str) -> str:
    """Begin a sentence as sentences begin."""
    return sentence[:1].upper() + sentence[1:]
