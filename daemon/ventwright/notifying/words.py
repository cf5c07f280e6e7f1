"""Words and numbers as messages use them."""

from collections.abc import Mapping

_STATES = {
    "standby": "is standing by",
    "extracting": "is running",
    "run-on": "is running on",
    "held on": "is held on",
    "held off": "is held off",
    "quiet hours": "stays off until its quiet hours end",
    "resting": "rests after its longest run",
    "blind": "has no trustworthy data to decide on",
}


def figure(value: float, digits: int | None = None) -> str:
    """Write a number as people can take it in: `digits` decimals, or as many as tell something.

    One below 10 and none above, but two below 0.1; none above 100 whatever was asked for.
    """
    size = abs(value)
    places = (1 if size < 10 else 0) if digits is None else digits
    places = 0 if size >= 100 else places
    return f"{value:.{2 if 0 < size < 0.095 and places else places}f}"


def amount(value: float | None, unit: str, digits: int | None = None) -> str:
    """Write a value in its unit, as `figure` does: `27 µg/m³`, `240/cm³`; of an index alone."""
    if value is None:
        return "an unknown value"
    written, kind = figure(value, digits), unit.removeprefix("index").strip()
    return f"{written}{kind[1:]}" if kind.startswith("1/") else f"{written} {kind}".rstrip()


def signed(value: float | None, unit: str) -> str:
    """Write a rise with its sign: `+23 µg/m³`."""
    written = amount(value, unit)
    return f"+{written}" if value is not None and value >= 0 else written


LONGEST_TITLE = 59
"""Characters of a title that a lock screen shows."""


def fitted(title: str) -> str:
    """Shorten `Room: what happened` to what a lock screen shows: the room's name first."""
    if len(title) <= LONGEST_TITLE:
        return title
    room, colon, what = title.partition(": ")
    left = LONGEST_TITLE - len(what) - len(colon) - 1
    if colon and left > 0:
        return f"{room[:left].rstrip()}…{colon}{what}"
    return f"{(what or title)[: LONGEST_TITLE - 1].rstrip()}…"[:LONGEST_TITLE]


def dose_unit(unit: str) -> str:
    """Give the unit of a concentration times hours: `µg·h/m³`; nothing for other quantities."""
    return {"µg/m³": "µg·h/m³", "ppm": "ppm·h", "ppb": "ppb·h"}.get(unit, "")


def extractor_words(states: Mapping[str, str]) -> str:
    """Say what each extractor is doing; states as in the store, `run-on` or `run_on`."""
    if not states:
        return "No extractor is set up: air the room."
    told = []
    for name, state in sorted(states.items()):
        plain = str(state).lower().replace("_", " ").replace("run on", "run-on")
        told.append(f"The extractor {name} {_STATES.get(plain, f'is {plain}')}.")
    return " ".join(told)
