"""Finding drivers: ours by looking, others' by entry point."""

from importlib.metadata import EntryPoint
from typing import Any

import pytest

from ventwright_drivers import registry
from ventwright_drivers.part import Part
from ventwright_drivers.serial.pms import Pms5003


class Foreign(Pms5003):
    """A part of somebody else's."""

    model = "foreign1"


def test_parts_relays_and_twins_are_found_by_looking() -> None:
    assert registry.parts()["pms5003"] is Pms5003
    assert "relay-a0" in registry.relays()
    assert "pms5003" in registry.twins()


def test_a_base_class_is_no_part() -> None:
    assert all("model" in vars(found) for found in registry.parts().values())
    assert not any(found is Part for found in registry.parts().values())


def test_models_are_in_order_and_belong_to_one_class_each() -> None:
    for found in (registry.parts(), registry.relays()):
        assert list(found) == sorted(found)
        assert len(set(found.values())) == len(found)
        assert all(driver.model == model for model, driver in found.items())


def test_others_add_parts_by_entry_point(monkeypatch: pytest.MonkeyPatch) -> None:
    place = f"{__name__}:Foreign"
    entries = {"ventwright.parts": [EntryPoint("foreign1", place, "ventwright.parts")]}
    monkeypatch.setattr(registry, "entry_points", lambda group: entries.get(group, []))
    found: dict[str, Any] = registry.parts()
    assert found["foreign1"].__qualname__ == "Foreign"
    assert "foreign1" not in registry.relays()


def test_where_and_load_are_each_others_inverse() -> None:
    assert registry.where(Pms5003) == "ventwright_drivers.serial.pms:Pms5003"
    assert registry.load("ventwright_drivers.serial.pms:Pms5003") is Pms5003


@pytest.mark.parametrize(
    ("place", "error"),
    [
        ("ventwright_drivers.serial.pms:Nothing", AttributeError),
        ("ventwright_drivers.nothing:Nothing", ImportError),
    ],
)
def test_what_is_not_there_does_not_load(place: str, error: type[Exception]) -> None:
    with pytest.raises(error):
        registry.load(place)
