"""Collects the mistakes found in one configuration, each with its place and without secrets."""

import difflib
import re
from collections.abc import Iterable
from typing import Any

from ventwright.settings.errors import Mistake

Place = tuple[str, ...]
"""A key and the tables it is in: `("parts", "bench", "port")`."""

_SECRET_KEY = re.compile(
    r"token|passw|pwd|passphrase|secret|credential|bearer|api_?key|access_?key|private_?key"
    r"|(^|_)auth(_|$)|services"
)
_CREDENTIALS = re.compile(
    r"[a-z][a-z0-9+.-]*://[^/\s]*@|[?&](token|key|pass\w*|secret|auth)=", re.IGNORECASE
)
_ADDRESS = re.compile(r"(?!https?:)[a-z][a-z0-9+.-]*://", re.IGNORECASE)
_RUN = re.compile(r"[A-Za-z0-9+=]{12,}")
_TURN = re.compile(r"[A-Za-z](?=\d)|\d(?=[A-Za-z])")
_LONGEST = 60
LARGEST = 2**53
"""Whole numbers from here on are not exact as floats, and none of them makes sense here."""


def secret_key(key: str) -> bool:
    """Tell whether a key is named like one that holds a secret (or the path of one)."""
    return bool(_SECRET_KEY.search(key.lower().replace("-", "_")))


def holds_credentials(value: object) -> bool:
    """Tell whether a value is an address with a password or token in it."""
    return isinstance(value, str) and bool(_CREDENTIALS.search(value))


def _private(text: str) -> bool:
    return bool(_CREDENTIALS.search(text) or _ADDRESS.search(text)) or _random(text)


def _random(text: str) -> bool:
    """Tell whether a text looks like a token: letters and digits mixed as nobody names a thing."""
    runs = [] if text.startswith("/") else _RUN.findall(text)
    return any(len(_TURN.findall(run)) >= 3 for run in runs)


def show(value: object, key: str = "") -> str:
    """Show what was found, without anything that looks secret: `"big"`, 4, a list."""
    if secret_key(key) or key == "url":
        return "something else (not shown)"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) >= LARGEST:
        return "a very large number"
    if isinstance(value, int) and key == "address":
        return f"{value} ({value:#x})"
    if isinstance(value, int | float):
        return f"{value:.15g}"
    if isinstance(value, list):
        return "a list"
    return "a table" if isinstance(value, dict) else "a date or time"


def _text(value: str) -> str:
    if _private(value):
        return "a text (not shown)"
    shown = value if len(value) <= _LONGEST else value[: _LONGEST - 1] + "…"
    return f'"{printable(shown)}"'


def printable(text: str) -> str:
    """Put a ? for every character that would not print."""
    return "".join(c if c.isprintable() else "?" for c in text)


def name_of(place: Place) -> str:
    """Write a place as a dotted key; a part of it that looks secret is not shown."""
    return ".".join("(not shown)" if _private(key) else _text(key)[1:-1] for key in place)


def listed(names: Iterable[str]) -> str:
    """List what is allowed: `a, b or c`; says so if there is nothing."""
    *most, last = list(names) or ["none"]
    return f"{', '.join(most)} or {last}" if most else last


def nearest(name: str, names: Iterable[str]) -> str:
    """Ask whether the nearest of the names was meant; empty if none is near."""
    near = difflib.get_close_matches(name, list(names), 1, 0.6)
    return f'is "{near[0]}" meant?' if near else ""


class Findings:
    """The mistakes found so far; the first one at a place is the one that counts."""

    def __init__(self, file: str, lines: dict[Place, int], variables: dict[Place, str]) -> None:
        self.mistakes: list[Mistake] = []
        self.variables = variables
        self._file = printable(file)
        self._lines = lines
        self._seen: set[Place] = set()

    def add(self, place: Place, found: str, allowed: str, hint: str = "") -> None:
        """Remember a mistake at a key."""
        if place not in self._seen:
            self._seen.add(place)
            where = self.where(place)
            self.mistakes.append(Mistake(name_of(place), found, allowed, hint, where))

    def has(self, place: Place) -> bool:
        """Tell whether something is wrong at this very key."""
        return place in self._seen

    def where(self, place: Place) -> str:
        """Name the environment variable that set a key, else file and line."""
        if place in self.variables:
            return f"environment variable {printable(self.variables[place])}"
        for length in range(len(place), 0, -1):
            if place[:length] in self._lines:
                return f"{self._file}, line {self._lines[place[:length]]}"
        return self._file

    def unknown(self, place: Place, allowed: Iterable[str]) -> None:
        """Remember a key that does not exist, with the nearest one that does."""
        names = sorted(allowed)
        self.add(place, "is not a key", f"allowed are {listed(names)}", nearest(place[-1], names))

    def refuse(self, place: Place, value: Any, allowed: str, hint: str = "") -> None:
        """Remember a value that is not allowed."""
        self.add(place, f"is {show(value, place[-1])}", allowed, hint)
