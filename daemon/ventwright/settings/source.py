"""Brings file and environment together: one tree of tables, the environment above the file.

VENTWRIGHT_ROOM__VOLUME=45 stands for `volume = 45` under [room].
"""

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from pydantic_settings import BaseSettings, EnvSettingsSource, SettingsConfigDict

from ventwright.settings.errors import ConfigurationError, Mistake
from ventwright.settings.findings import Findings, Place, listed, nearest

PREFIX = "VENTWRIGHT_"
SECTIONS = (
    "room",
    "store",
    "parts",
    "relays",
    "extractors",
    "alarms",
    "same_air",
    "clock",
    "database",
    "phone",
    "priorities",
    "people",
    "report",
)

_LARGEST = 1_000_000  # bytes; a configuration is a few thousand
_KEY = re.compile(r"\"[^\"]*\"|'[^']*'|[^.\s\"']+")
_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


class Tables(BaseSettings):
    """The sections as they are written, not yet looked into."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, env_nested_delimiter="__", extra="forbid", env_ignore_empty=False
    )
    room: dict[str, Any] | None = None
    store: dict[str, Any] | None = None
    parts: dict[str, Any] | None = None
    relays: dict[str, Any] | None = None
    extractors: dict[str, Any] | None = None
    alarms: dict[str, Any] | None = None
    same_air: dict[str, Any] | None = None
    clock: dict[str, Any] | None = None
    database: dict[str, Any] | None = None
    phone: dict[str, Any] | None = None
    priorities: dict[str, Any] | None = None
    people: dict[str, Any] | None = None
    report: dict[str, Any] | None = None


def read_file(path: Path) -> tuple[dict[str, Any], str]:
    """Read a TOML file and give its tree and its text; raises ConfigurationError."""
    text = _text(path)
    why, where = "", str(path)
    try:
        return tomllib.loads(text), text
    except RecursionError:
        why = "nests too deep"
    except ValueError as error:
        why, where = _syntax(path, str(error))
    return _refuse(where, f"is not valid TOML: {why}", "key = value under a [section] is needed")


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > _LARGEST:
            why = "is larger than 1 MB"
        else:
            return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        why = "does not exist"
    except UnicodeDecodeError:
        why = "is not UTF-8 text"
    except (OSError, ValueError) as error:
        why = f"cannot be read ({getattr(error, 'strerror', None) or 'no such path'})"
    return _refuse(str(path), why, "a TOML file that this user may read is needed")


def _syntax(path: Path, message: str) -> tuple[str, str]:
    """Take the place out of tomllib's message."""
    at = _AT.search(message)
    what = message[: at.start()] if at else message
    where = f"{path}, line {at[1]}, column {at[2]}" if at and at[1] else str(path)
    return what[:1].lower() + what[1:100] + ("" if not at or at[1] else " at the end"), where


def _refuse(place: str, found: str, allowed: str) -> NoReturn:
    raise ConfigurationError((Mistake(place, found, allowed),))


def lines_of(text: str) -> dict[Place, int]:
    """Find the lines on which tables and keys begin; keys of inline tables are not looked for."""
    found: dict[Place, int] = {}
    table: Place = ()
    inside = False
    for number, line in enumerate(text.split("\n"), 1):
        if not inside:
            bare = line.strip()
            if bare.startswith("["):
                table = _split(bare.partition("#")[0].strip(" \t\r[]"))
                found.setdefault(table, number)
            elif "=" in bare and not bare.startswith("#"):
                found.setdefault(table + _split(bare.partition("=")[0]), number)
        inside ^= (line.count('"""') + line.count("'''")) % 2 == 1
    return found


def _split(key: str) -> Place:
    return tuple(part.strip("\"'") for part in _KEY.findall(key[:500]))


def overrides(environ: Mapping[str, str]) -> dict[Place, str]:
    """Map the keys that the environment sets to the names of the variables."""
    names = sorted(name for name in environ if name.upper().startswith(PREFIX))
    return {
        tuple(name[len(PREFIX) :].lower().split("__")): name
        for name in names
        if "__" in name[len(PREFIX) :] or name[len(PREFIX) :].lower() in SECTIONS
    }


def merge(
    tree: dict[str, Any], environ: Mapping[str, str], findings: Findings
) -> dict[str, dict[str, Any]]:
    """Lay the environment over the file's tree, by pydantic-settings; unusable tables are told."""
    chosen = {
        variable.lower(): environ[variable]
        for place, variable in findings.variables.items()
        if _fits(place, findings)
    }
    merged = _settings(chosen)(**_known(tree, findings))
    return {name: table for name in SECTIONS if (table := getattr(merged, name)) is not None}


def _fits(place: Place, findings: Findings) -> bool:
    if place[0] not in SECTIONS:
        hint = nearest(place[0], SECTIONS)
        findings.add(place, "is in no section", f"sections are {listed(SECTIONS)}", hint)
    elif not 1 < len(place) <= 3:
        findings.add(
            place, "is no key", f"{PREFIX}SECTION__KEY or {PREFIX}SECTION__NAME__KEY is needed"
        )
    elif any(place[:n] in findings.variables for n in range(1, len(place))):
        findings.add(place, "is set twice", "one variable a key")
    return not findings.has(place)


def _known(tree: dict[str, Any], findings: Findings) -> dict[str, dict[str, Any]]:
    known: dict[str, dict[str, Any]] = {}
    for name, table in tree.items():
        if name not in SECTIONS:
            hint = nearest(name, SECTIONS)
            findings.add((name,), "is not a section", f"sections are {listed(SECTIONS)}", hint)
        elif not isinstance(table, dict):
            findings.refuse((name,), table, f"a table [{name}] is needed")
        else:
            known[name] = table
    return known


def _settings(variables: dict[str, str]) -> type[Tables]:
    class Chosen(Tables):
        @classmethod
        def settings_customise_sources(cls, *_: Any, **sources: Any) -> tuple[Any, ...]:
            environment = EnvSettingsSource(cls)
            environment.env_vars = variables
            return environment, sources["init_settings"]

    return Chosen
