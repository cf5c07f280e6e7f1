"""The shipped alarms, written for the first part that sees particles; knows no port and no file."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from ventwright.settings.shipped import example

_HEAD = "# The alarms that come with Ventwright. config/example.toml explains every key.\n"


def first_alarms(parts: Iterable[tuple[str, str]]) -> str:
    """Write the example's alarms for the first of `parts` (name, model) that has their quantity.

    Empty where no part has it.
    """
    from ventwright_drivers import registry

    drivers, tables = registry.parts(), example()["alarms"]
    measured = {name: drivers[model].quantities for name, model in parts if model in drivers}
    texts = []
    for alarm, keys in tables.items():
        quantity = keys["channel"].partition(".")[2]
        part = next((name for name, having in measured.items() if quantity in having), None)
        if part is not None:
            texts.append(_table(alarm, {**keys, "channel": f"{part}.{quantity}"}))
    return _HEAD + "\n".join(texts) if texts else ""


def _table(name: str, keys: Mapping[str, Any]) -> str:
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in keys.items()]
    return f"[alarms.{name}]\n" + "".join(lines)
