"""The alarm load against events that are counted by hand."""

from pathlib import Path

import pytest

from stored import OFFSET, record, writer
from ventwright.reporting.load import alarm_load, load_lines

DAY = 86_400_000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    store = writer(tmp_path)
    for day, name in ((0, "a"), (5, "a"), (8, "a"), (8, "b"), (9, "a"), (9.99, "b")):
        record(store, "alarm", name, int(day * DAY), change="raised")
        record(store, "alarm", name, int(day * DAY) + 1000, change="cleared")
    store.close()
    return tmp_path


def test_activations_are_counted_and_nothing_else(folder: Path) -> None:
    load = alarm_load(folder, OFFSET + 10 * DAY)
    assert load["last 24 h"] == 1
    assert load["a day, over 7 d"] == round(5 / 7, 2)
    assert load["by alarm, over 7 d"] == {"a": 3, "b": 2}
    assert sum(load["by day"].values()) == 6


def test_a_young_store_counts_with_its_own_age(folder: Path) -> None:
    assert alarm_load(folder, OFFSET + DAY // 2)["a day, over 7 d"] == 1
    assert alarm_load(folder, OFFSET + 5 * DAY + 1)["a day, over 7 d"] == pytest.approx(2 / 5)


def test_it_is_told_in_one_line_beside_the_published_figure(folder: Path) -> None:
    (line,) = load_lines(alarm_load(folder, OFFSET + 10 * DAY))
    assert line == (
        "alarm load: 1 in 24 h, 0.71 a day over 7 d (EEMUA 191 target for a plant's operator: at "
        "most 120); most often a, 3 times"
    )


def test_without_a_store_there_is_none(tmp_path: Path) -> None:
    assert alarm_load(tmp_path / "none", OFFSET) == {}
    assert list(load_lines({})) == []
