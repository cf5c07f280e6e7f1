"""Finding drivers: ours by looking, others' by entry point."""

from collections.abc import Callable, Iterator
from importlib.metadata import EntryPoint
from typing import Any

import pytest

from ventwright_drivers import registry
from ventwright_drivers.emulated.pms import PmsTwin
from ventwright_drivers.part import Part
from ventwright_drivers.serial.pms import Pms5003


class Foreign(Pms5003):
    """A part of somebody else's."""

    model = "foreign1"


class ForeignTwin(PmsTwin):
    """Its twin."""

    models = ("foreign1",)


@pytest.fixture(autouse=True)
def searched_anew() -> Iterator[None]:
    """Have each test search for itself, and leave nothing that it found."""
    registry.search_again()
    yield
    registry.search_again()


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
    found: Any = registry.parts()
    assert found["foreign1"].__qualname__ == "Foreign"
    assert "foreign1" not in registry.relays()


@pytest.fixture
def offer(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Have other packages offer entry points: name, value, group."""
    monkeypatch.setattr(registry, "_broken", {})

    def make(*entries: tuple[str, str, str]) -> None:
        def found(group: str) -> list[EntryPoint]:
            return [EntryPoint(*one) for one in entries if one[2] == group]

        monkeypatch.setattr(registry, "entry_points", found)

    return make


@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("no_such_module:Part", "ModuleNotFoundError: No module named 'no_such_module'"),
        (f"{__name__}:Nothing", "AttributeError: "),
        (f"{__name__}:offer", "it names no such class"),
        ("ventwright_drivers.relay.a0:A0Relay", "it names no such class"),
        ("ventwright_drivers.part:Part", "it names no such class"),
    ],
)
def test_a_driver_of_others_that_fails_costs_itself_and_one_sentence(
    value: str, why: str, offer: Callable[..., None], caplog: pytest.LogCaptureFixture
) -> None:
    good = f"{__name__}:Foreign"
    offer(("bad1", value, "ventwright.parts"), ("foreign1", good, "ventwright.parts"))
    for _ in range(2):
        registry.search_again()
        assert {"foreign1", "pms5003"} <= set(registry.parts())
    (record,) = caplog.records
    sentence = record.getMessage()
    assert sentence.startswith(f"the driver bad1 of another package ({value}) is left out: {why}")
    assert "\n" not in sentence
    assert registry.broken() == {"bad1": sentence}


def test_others_add_twins_too(offer: Callable[..., None]) -> None:
    offer(("foreign1", f"{__name__}:ForeignTwin", "ventwright.twins"))
    assert registry.twins()["foreign1"] is registry.load(f"{__name__}:ForeignTwin")


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
