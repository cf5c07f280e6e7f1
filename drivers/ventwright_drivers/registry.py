"""Finds drivers and emulated twins by part number, ours by looking, others' by entry point.

Entry point groups: `ventwright.parts`, `ventwright.relays` and `ventwright.twins`, each naming a
class. One that does not load costs itself and a sentence in the log, nothing else. Each is searched
once: what is installed later is found by the next process.
"""

import importlib
import inspect
import logging
import pkgutil
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.metadata import EntryPoint, entry_points
from types import ModuleType
from typing import Any

from ventwright_drivers.part import Device, Part, Relay

_LOG = logging.getLogger(__name__)
_broken: dict[str, str] = {}


def _modules(package: str) -> Iterator[ModuleType]:
    root = importlib.import_module(package)
    for info in pkgutil.iter_modules(root.__path__):
        yield importlib.import_module(f"{package}.{info.name}")


def _classes(package: str, base: Any) -> Iterator[type[Any]]:
    for module in _modules(package):
        for found in vars(module).values():
            ours = inspect.isclass(found) and found.__module__ == module.__name__
            if ours and issubclass(found, base):
                yield found


def _devices(base: Any, packages: tuple[str, ...], group: str) -> dict[str, type[Any]]:
    found = {c.model: c for p in packages for c in _classes(p, base) if "model" in vars(c)}
    found |= {driver.model: driver for driver in _foreign(base, group, "model")}
    return dict(sorted(found.items()))


def _foreign(base: Any, group: str, owes: str) -> Iterator[type[Any]]:
    """Load what other packages offer; what does not load, or is not what it should be, is told."""
    for entry in entry_points(group=group):
        try:
            loaded = entry.load()
        except Exception as error:  # noqa: BLE001 - whatever others' code raises on import
            first = str(error).partition("\n")[0]
            _tell(entry, f"{type(error).__name__}: {first}")
            continue
        if inspect.isclass(loaded) and issubclass(loaded, base) and hasattr(loaded, owes):
            yield loaded
        else:
            _tell(entry, "it names no such class as it should")


def _tell(entry: EntryPoint, why: str) -> None:
    sentence = f"the driver {entry.name} of another package ({entry.value}) is left out: {why}"
    if _broken.get(entry.name) != sentence:
        _broken[entry.name] = sentence
        _LOG.warning("%s", sentence)


def broken() -> dict[str, str]:
    """Map the entry points of others that did not load to a sentence that says why."""
    return dict(_broken)


@cache
def parts() -> Mapping[str, type[Part]]:
    """Map every known sensor part number to its driver."""
    names = tuple(f"ventwright_drivers.{wire}" for wire in ("serial", "i2c", "relay"))
    return _devices(Part, names, "ventwright.parts")


@cache
def relays() -> Mapping[str, type[Relay]]:
    """Map every known relay kind to its driver."""
    return _devices(Relay, ("ventwright_drivers.relay",), "ventwright.relays")


@cache
def twins() -> Mapping[str, type[Any]]:
    """Map part numbers and relay kinds to their emulated twins."""
    from ventwright_drivers.emulated.twin import I2CTwin, LineTwin, SerialTwin

    package = "ventwright_drivers.emulated"
    bases = (SerialTwin, I2CTwin, LineTwin)
    found = [twin for base in bases for twin in _classes(package, base)]
    found += _foreign(bases, "ventwright.twins", "models")
    return {model: twin for twin in found for model in getattr(twin, "models", ())}


def search_again() -> None:
    """Forget what was found, so that what has been installed since is found, too."""
    for search in (parts, relays, twins):
        search.cache_clear()


def where(driver: type[Device]) -> str:
    """Write a driver as `module:Class`, to be loaded elsewhere without a search."""
    return f"{driver.__module__}:{driver.__qualname__}"


def load(place: str) -> type[Any]:
    """Load a class written by `where`; raises ImportError, AttributeError."""
    module, _, name = place.partition(":")
    found: type[Any] = getattr(importlib.import_module(module), name)
    return found
