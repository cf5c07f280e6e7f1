"""Writes what was found as a piece of configuration, and adds it to a file that is there."""

import json
import os
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from ventwright.finding.first_alarms import first_alarms
from ventwright.finding.found import Found
from ventwright.settings.errors import ConfigurationError, Mistake
from ventwright.settings.replacing import replace
from ventwright.settings.source import read_file

_HEAD = "# Added by `ventwright find`.\n"
_NEW = """\
# Begun by `ventwright find`. config/example.toml explains these keys and all others: extractors,
# and how a phone is told.
[room]
name = "workshop"
volume = 40    # m³, A GUESS: measure length, width and height of your room

[store]
folder = "/var/lib/ventwright"
"""
"""What a configuration that is not there yet begins with: all that must be there."""

_UNSURE = "# Or {}: the wire does not tell; see what is printed on it.\n"
_SECTIONS = {False: "parts", True: "relays"}

_WRITABLE = "a file in a folder that is there and that this user may write to is needed"


def block(found: Iterable[Found], taken: Iterable[str] = ()) -> str:
    """Write a table for every thing found that has a name; no name of `taken` is used."""
    names = set(taken)
    return "\n".join(_table(one, names) for one in found if one.models)


def _table(one: Found, names: set[str]) -> str:
    name = _unused(one.models[0], names)
    names.add(name)
    others = " or ".join(one.models[1:])
    options = {"model": one.models[0], **one.options}
    lines = [f"[{_SECTIONS[one.relay]}.{name}]\n"]
    lines += [_UNSURE.format(others)] if others else []
    lines += [f"{key} = {_value(key, value)}\n" for key, value in options.items()]
    return "".join(lines)


def _unused(name: str, names: set[str]) -> str:
    if name not in names:
        return name
    number = next(n for n in range(2, len(names) + 3) if f"{name}-{n}" not in names)
    return f"{name}-{number}"


def _value(key: str, value: str | int) -> str:
    if key == "address" and isinstance(value, int):
        return f"0x{value:02X}"
    return json.dumps(value, ensure_ascii=False)


def add(path: Path, found: Iterable[Found], environ: Mapping[str, str]) -> str:
    """Add to a configuration what it does not have yet, and give the text that was added.

    A file that is not there is begun, if anything was found. In one that is there comments and
    everything else stay as they are; a port or address that it has already is not added again,
    and no name is used twice. Without any alarm it gets those that are shipped. The whole is
    checked before the file is replaced at one stroke.
    Raises ConfigurationError, the file being unchanged.
    """
    real = Path(os.path.realpath(path))
    begun = "" if real.exists() else _NEW
    tree, text = ({}, "") if begun else read_file(real)
    new = [one for one in found if one.models and not _has(tree, one)]
    if not new:
        return ""
    added = (begun or _HEAD) + "\n" + block(new, _names(tree))
    if "alarms" not in tree and (alarms := first_alarms(_parts(added))):
        added += "\n" + alarms
    try:
        replace(real, _ended(text) + ("" if begun else "\n") + added, environ)
    except OSError as error:
        mistake = Mistake(str(path), f"cannot be written ({error.strerror})", _WRITABLE)
        raise ConfigurationError((mistake,)) from error
    return added


def _parts(text: str) -> list[tuple[str, str]]:
    return [(name, table["model"]) for name, table in tomllib.loads(text).get("parts", {}).items()]


def _ended(text: str) -> str:
    return text if text.endswith("\n") or not text else text + "\n"


def _tables(tree: Mapping[str, Any]) -> list[tuple[str, Any]]:
    sections = (tree.get(name) for name in _SECTIONS.values())
    return [item for section in sections if isinstance(section, dict) for item in section.items()]


def _names(tree: Mapping[str, Any]) -> set[str]:
    return {name for name, _ in _tables(tree)}


def _has(tree: Mapping[str, Any], one: Found) -> bool:
    return any(isinstance(table, dict) and _same(table, one) for _, table in _tables(tree))


def _same(table: Mapping[str, Any], one: Found) -> bool:
    if "port" in one.options:
        port = table.get("port")
        return isinstance(port, str) and _real(port) == _real(str(one.options["port"]))
    place = (table.get("bus", 1), table.get("address", _own_address(table.get("model"))))
    return place == (one.options["bus"], one.options["address"])


def _real(path: str) -> str:
    return os.path.realpath(path)


def _own_address(model: object) -> object:
    """Give the address that a part has if the file says none."""
    from ventwright_drivers import registry

    driver = registry.parts().get(str(model))
    return getattr(driver and driver.Options, "address", None)
