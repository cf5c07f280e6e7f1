"""Finds the files that come with the program, installed or in a checkout."""

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path


def shipped(name: str) -> Traversable:
    """Find a file of config/ by its name; raises FileNotFoundError."""
    checkout = Path(__file__).resolve().parents[3] / "config"
    for place in (files("ventwright") / "config" / name, checkout / name):
        if place.is_file():
            return place
    raise FileNotFoundError(f"{name} did not come with this installation")
