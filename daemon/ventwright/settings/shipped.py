"""Finds the files that come with the program, installed or in a checkout."""

import tomllib
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

EXAMPLE = "example.toml"


def shipped(name: str) -> Traversable:
    """Find a file of config/ by its name; raises FileNotFoundError."""
    checkout = Path(__file__).resolve().parents[3] / "config"
    for place in (files("ventwright") / "config" / name, checkout / name):
        if place.is_file():
            return place
    raise FileNotFoundError(f"{name} did not come with this installation")


def example() -> dict[str, Any]:
    """Read the shipped example: every rule that we recommend stands there, and only there."""
    tables: dict[str, Any] = tomllib.loads(shipped(EXAMPLE).read_text(encoding="utf-8"))
    return tables
