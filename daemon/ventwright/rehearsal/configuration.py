"""Writes the configuration that belongs to a scenario, as its owner would have written it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ventwright.rehearsal.scenario import Scenario
from ventwright.rehearsal.world import BUS, CHIP, LINE

_HEAD = """\
# The configuration of a rehearsal: {title}.
# The daemon reads it as it would yours; only the ports lead to emulated parts.
"""


@dataclass(frozen=True)
class Places:
    """Where the files of a rehearsal are: all in one folder, given as an absolute path."""

    out: Path

    @property
    def configuration(self) -> Path:
        """The configuration file."""
        return self.out / "ventwright.toml"

    @property
    def store(self) -> Path:
        """The folder of the store."""
        return self.out / "store"

    @property
    def ports(self) -> Path:
        """The folder of the pseudo-terminals' stable names."""
        return self.out / "ports"

    @property
    def phone(self) -> Path:
        """The file that names the phone's service."""
        return self.out / "phone-services"

    @property
    def summary(self) -> Path:
        """What was found, for programs."""
        return self.out / "summary.json"


@dataclass(frozen=True)
class DatabaseTarget:
    """A database to push to: address, bucket and organisation, and the file with the token."""

    url: str
    bucket: str = "rehearsal"
    organisation: str = "-"
    token_file: Path | None = None


def _value(value: Any) -> str:
    return json.dumps(str(value) if isinstance(value, Path) else value, ensure_ascii=False)


def _table(name: str, keys: Mapping[str, Any]) -> str:
    lines = [f"{key} = {_value(value)}" for key, value in keys.items() if value is not None]
    return "\n".join([f"[{name}]", *lines, ""])


def _parts(scenario: Scenario, places: Places) -> list[str]:
    tables = []
    for part in scenario.parts:
        place = {"port": places.ports / part.name} if part.wire == "serial" else {"bus": BUS}
        tables.append(_table(f"parts.{part.name}", {"model": part.model, **place}))
    return tables


def _relay(scenario: Scenario, places: Places) -> str:
    place: dict[str, Any] = {"port": places.ports / scenario.relay}
    if scenario.relay_model == "relay-gpio":
        place = {"chip": CHIP, "line": LINE}
    keys = {"model": scenario.relay_model, **place, "safe_state": "off", "repeat_every": "10 s"}
    return _table(f"relays.{scenario.relay}", keys)


def _database(target: DatabaseTarget) -> str:
    keys = {
        "url": target.url,
        "bucket": target.bucket,
        "organisation": target.organisation,
        "token_file": target.token_file,
        "push_every": "1 s",
    }
    return _table("database", keys)


def configuration(
    scenario: Scenario, places: Places, database: DatabaseTarget | None = None
) -> str:
    """Give the text of the configuration file."""
    room = {"name": scenario.room_name, "volume": scenario.volume}
    extractor = {"relay": scenario.relay, **scenario.extraction}
    tables = [
        _table("room", room),
        _table("store", {"folder": places.store, "commit_every": "30 s"}),
        *_parts(scenario, places),
        _relay(scenario, places),
        _table(f"extractors.{scenario.extractor}", extractor),
        *(_table(f"alarms.{name}", keys) for name, keys in scenario.alarms.items()),
        _table("clock", {"has_battery": True}),
        _table("phone", {"services_file": places.phone}),
    ]
    if database:
        tables.append(_database(database))
    return "\n".join([_HEAD.format(title=scenario.title), *tables])


def prepare(
    scenario: Scenario, places: Places, phone: str, database: DatabaseTarget | None = None
) -> None:
    """Make the folders and write configuration and phone address; raises OSError."""
    for folder in (places.store, places.ports):
        folder.mkdir(parents=True)
    places.phone.touch(mode=0o600)
    places.phone.write_text(f"{phone}\n", encoding="utf-8")
    places.configuration.write_text(configuration(scenario, places, database), encoding="utf-8")
