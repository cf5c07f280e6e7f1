"""What fails in the courier just now and since when, in its file: for `ventwright status`.

It knows neither chores nor services nor the database, only names and reasons.
"""

import logging
import sqlite3
from collections.abc import Mapping
from typing import Any

from ventwright.courier.file import CourierFile, keep_state
from ventwright.notifying.ages import Ages

KEPT_AS = "troubles"

log = logging.getLogger(__name__)

Found = dict[str, dict[str, dict[str, Any]]]
"""By kind and name: `since` (Unix ms; None if the clock was not known to be right) and `why`."""


class Troubles:
    """Follows what fails; writes only when that changes."""

    def __init__(self, file: CourierFile, ages: Ages) -> None:
        """Keep it in `file`; what an earlier courier left there stands until the next outcome."""
        self._file, self._ages = file, ages
        self._saved: Found | None = None

    def step(
        self, outcomes: Mapping[str, Mapping[str, str]], known: Mapping[str, set[str]]
    ) -> None:
        """Take the latest outcomes by kind and name, empty where all went well.

        Of the `known` names those without an outcome yet stay as they were; others are forgotten.
        """
        try:
            if self._saved is None:
                self._saved = self._file.state(KEPT_AS) or {}
            found = {kind: self._one(kind, names, outcomes[kind]) for kind, names in known.items()}
            if found != self._saved:
                with self._file.transaction() as db:
                    keep_state(db, KEPT_AS, found)
                self._saved = found
        except (sqlite3.Error, OSError) as error:
            log.warning("cannot note now what fails: %s", error)

    def _one(self, kind: str, known: set[str], latest: Mapping[str, str]) -> dict[str, Any]:
        assert self._saved is not None
        before = {n: had for n, had in self._saved.get(kind, {}).items() if n in known}
        for name, why in dict(latest).items():
            since = before[name]["since"] if name in before else self._ages.wall()
            before[name] = {"since": since, "why": why}
        return {name: told for name, told in before.items() if told["why"]}
