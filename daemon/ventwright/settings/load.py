"""Reads the configuration: one TOML file, with environment variables above it.

VENTWRIGHT_ROOM__VOLUME=45 stands for `volume = 45` under [room]. Everything wrong is told at
once. Imports pydantic: whoever has no memory to spare reads through plan.py.
"""

import dataclasses
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from ventwright.settings import crossing, model, places
from ventwright.settings.alarm_table import complete_alarm
from ventwright.settings.devices import Device, named_tables, read_part, read_relay
from ventwright.settings.errors import ConfigurationError
from ventwright.settings.fields import build, check, names, unknown_keys
from ventwright.settings.findings import Findings
from ventwright.settings.guard import guard
from ventwright.settings.source import lines_of, merge, overrides, read_file
from ventwright_drivers import registry


def load(path: Path, environ: Mapping[str, str]) -> model.Settings:
    """Read and check the configuration; raises ConfigurationError with every mistake.

    A relative path in the file counts from the file's own folder.
    """
    tree, text = read_file(path)
    findings = Findings(str(path), lines_of(text), overrides(environ))
    tables = merge(tree, environ, findings)
    guard(tables, findings)
    values = _Reader(tables, findings).read()
    if findings.mistakes:
        raise ConfigurationError(tuple(findings.mistakes))
    return model.Settings(**{name: _rooted(value, path) for name, value in values.items()})


def _rooted(value: Any, path: Path) -> Any:
    """Make the relative paths of a section absolute."""
    if not dataclasses.is_dataclass(value) or isinstance(value, type):
        return value
    folder = path.absolute().parent
    paths = {name: v for name, v in vars(value).items() if isinstance(v, Path)}
    return dataclasses.replace(value, **{name: folder / found for name, found in paths.items()})


class _Reader:
    """Goes through the sections in the order in which they refer to each other."""

    def __init__(self, tables: dict[str, dict[str, Any]], findings: Findings) -> None:
        self.tables = tables
        self.findings = findings
        self.values: dict[str, Any] = {}

    def read(self) -> dict[str, Any]:
        """Check all sections and give what Settings is made of; mistakes are in the findings."""
        for name, cls in _REQUIRED:
            self._section(name, cls)
        self.parts = self._devices("parts", read_part, registry.parts())
        if not self.tables.get("parts"):
            self.findings.add(("parts",), "is missing", "at least one [parts.NAME] is needed")
        self.relays = self._devices("relays", read_relay, registry.relays())
        places.check_places(self.parts, self.relays, self.findings)
        crossing.check_humidity(self.parts, self.findings)
        self._extractors()
        self._alarms()
        alarms, extractors = self.values["alarms"], self.values["extractors"]
        crossing.check_extracting(alarms, extractors, self.findings)
        places.check_rests(alarms, extractors, self.parts, self.findings)
        self._same_air()
        for name, cls in _OPTIONAL:
            if name in self.tables:
                self._section(name, cls)
        crossing.check_quiet(self.values.get("phone"), self.findings)
        self._priorities()
        self._people()
        crossing.check_report(self.values.get("report"), self.parts, self.findings)
        return self.values

    def _section(self, name: str, cls: type[Any]) -> None:
        self.values[name] = self._table(cls, self.tables.get(name, {}), (name,))[1]

    def _table(
        self, cls: type[Any], table: dict[str, Any], place: tuple[str, ...]
    ) -> tuple[dict[str, Any], Any]:
        """Give the good values of a table, and the dataclass if all are good."""
        unknown_keys(table, names(cls), place, self.findings)
        values = check(cls, table, place, self.findings)
        return values, build(cls, values, place, self.findings)

    def _named(self, section: str) -> dict[str, dict[str, Any]]:
        return named_tables(self.tables.get(section, {}), (section,), self.findings)

    def _devices(self, section: str, read: Any, drivers: Any) -> dict[str, Device]:
        found = {
            name: read(table, (section, name), drivers, self.findings)
            for name, table in self._named(section).items()
        }
        self.values[section] = {name: device.entry for name, device in found.items()}
        return found

    def _extractors(self) -> None:
        built, users = {}, dict[str, str]()
        for name, table in self._named("extractors").items():
            place = ("extractors", name)
            values, built[name] = self._table(model.Extractor, table, place)
            crossing.check_extractor(values, place, self.relays, users, self.findings)
            crossing.check_running(values, place, self.parts, self.findings)
        self.values["extractors"] = built

    def _alarms(self) -> None:
        built = {}
        for name, table in self._named("alarms").items():
            place = ("alarms", name)
            whole = complete_alarm(table, place, self.findings)
            values, built[name] = self._table(model.Alarm, whole, place)
            crossing.check_alarm(values, place, self.parts, self.findings)
        self.values["alarms"] = built

    def _priorities(self) -> None:
        built = {}
        for name, table in self._named("priorities").items():
            if name not in model.PRIORITIES:
                self.findings.unknown(("priorities", name), model.PRIORITIES)
                continue
            plain = {"in_quiet_hours": "tell"} if name == "high" else {}
            built[name] = self._table(model.Urgency, {**plain, **table}, ("priorities", name))[1]
        self.values["priorities"] = built

    def _people(self) -> None:
        built = {}
        for name, table in self._named("people").items():
            place = ("people", name)
            values, built[name] = self._table(model.PersonEntry, table, place)
            crossing.check_hours(values.get("hours") or (), (*place, "hours"), self.findings)
        self.values["people"] = built

    def _same_air(self) -> None:
        built, users = {}, dict[str, str]()
        for name, table in self._named("same_air").items():
            place = ("same_air", name)
            values, built[name] = self._table(model.SameAir, table, place)
            crossing.check_same_air(values, place, self.parts, users, self.findings)
        self.values["same_air"] = built


_REQUIRED: tuple[tuple[str, type[Any]], ...] = (("room", model.Room), ("store", model.Storage))
_OPTIONAL: tuple[tuple[str, type[Any]], ...] = (
    ("clock", model.ClockEntry),
    ("database", model.Database),
    ("phone", model.Phone),
    ("report", model.Reporting),
)
