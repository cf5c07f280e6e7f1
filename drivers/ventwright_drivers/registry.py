"""Finds drivers and emulated twins by part number, ours by looking, others' by entry point.

Entry point groups: `ventwright.parts` and `ventwright.relays`, each naming a class.
"""

import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from importlib.metadata import entry_points
from types import ModuleType
from typing import Any

from ventwright_drivers.part import Device, Part, Relay


def _modules(package: str) -> Iterator[ModuleType]:
    root = importlib.import_module(package)
    for info in pkgutil.iter_modules(root.__path__):
        yield importlib.import_module(f"{package}.{info.name}")


def _classes(package: str, base: Any) -> Iterator[type[Any]]:
    for module in _modules(package):
        for _, found in inspect.getmembers(module, inspect.isclass):
            if issubclass(found, base) and found.__module__ == module.__name__:
                yield found


def _devices(base: Any, packages: tuple[str, ...], group: str) -> dict[str, type[Any]]:
    found = {c.model: c for p in packages for c in _classes(p, base) if "model" in vars(c)}
    for entry in entry_points(group=group):
        loaded = entry.load()
        found[loaded.model] = loaded
    return dict(sorted(found.items()))


def parts() -> dict[str, type[Part]]:
    """Map every known sensor part number to its driver."""
    names = tuple(f"ventwright_drivers.{wire}" for wire in ("serial", "i2c", "relay"))
    return _devices(Part, names, "ventwright.parts")


def relays() -> dict[str, type[Relay]]:
    """Map every known relay kind to its driver."""
    return _devices(Relay, ("ventwright_drivers.relay",), "ventwright.relays")


def twins() -> dict[str, type[Any]]:
    """Map part numbers and relay kinds to their emulated twins."""
    from ventwright_drivers.emulated.twin import I2CTwin, LineTwin, SerialTwin

    package = "ventwright_drivers.emulated"
    found = [twin for base in (SerialTwin, I2CTwin, LineTwin) for twin in _classes(package, base)]
    return {model: twin for twin in found for model in getattr(twin, "models", ())}


def where(driver: type[Device]) -> str:
    """Write a driver as `module:Class`, to be loaded elsewhere without a search."""
    return f"{driver.__module__}:{driver.__qualname__}"


def load(place: str) -> type[Any]:
    """Load a class written by `where`; raises ImportError, AttributeError."""
    module, _, name = place.partition(":")
    found: type[Any] = getattr(importlib.import_module(module), name)
    return found
