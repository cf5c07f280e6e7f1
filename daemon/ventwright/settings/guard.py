"""Looks at every value once, whatever its key: secrets, and what no field can use."""

import math
from collections.abc import Iterator, Mapping
from typing import Any

from ventwright.settings.findings import LARGEST, Findings, Place, holds_credentials, secret_key
from ventwright.settings.rules import SECRET_ADVICE

_DEEPEST = 6
_OWN_FILE = "put it into a file of its own that only this user may read"


def guard(tree: Mapping[str, Any], findings: Findings) -> None:
    """Remember every secret and every unusable value in the tree."""
    for place, value in leaves(tree):
        refuse_secret(place, value, findings)
        if found := flaw(value):
            findings.add(place, found, "a plain value is needed")


def leaves(tree: Mapping[str, Any]) -> Iterator[tuple[Place, object]]:
    """Walk over all values that are no tables, with the keys that lead there; never recurses."""
    waiting: list[tuple[Place, Any]] = [((), tree)]
    while waiting:
        place, value = waiting.pop()
        if isinstance(value, dict) and value and len(place) < _DEEPEST:
            waiting += [((*place, key), inner) for key, inner in reversed(value.items())]
        elif isinstance(value, list) and value:
            waiting += [(place, inner) for inner in reversed(value)]
        elif place:
            yield place, value


def flaw(value: object) -> str:
    """Say what makes a value unusable anywhere; empty if nothing does."""
    if isinstance(value, str) and not value.isprintable():
        return "holds a character that cannot be printed (a line break, a tab, a copied blank)"
    if isinstance(value, float) and not math.isfinite(value):
        return "is not a finite number"
    if isinstance(value, int) and abs(value) >= LARGEST:
        return "is larger than any number that makes sense here"
    return ""


def refuse_secret(place: Place, value: object, findings: Findings) -> None:
    """Remember a secret that stands in the configuration itself."""
    named = secret_key(place[-1]) and not place[-1].endswith("_file")
    if named or holds_credentials(value):
        found = "looks like a secret" if named else "holds a password or token"
        advice = SECRET_ADVICE.get(place[0], _OWN_FILE)
        findings.add(place, found, "secrets are kept out of the configuration", advice)
