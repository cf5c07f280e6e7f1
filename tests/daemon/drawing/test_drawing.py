"""Pictures: legible in grey, nothing cut off, gaps left as gaps."""

import xml.etree.ElementTree as ET
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ventwright.drawing.calendar import Cell, Grid, calendar, step_of
from ventwright.drawing.conditions import Band, Row, SideBySide, side_by_side
from ventwright.drawing.curve import Drawn, Shade, curve
from ventwright.drawing.png import png
from ventwright.drawing.scales import Scale, log_ticks, short, ticks, time_ticks
from ventwright.drawing.shapes import (
    INK,
    PAPER,
    SOFT,
    STEPS,
    Box,
    Line,
    Picture,
    Words,
    contrast,
    ink_on,
    luminance,
)
from ventwright.drawing.svg import svg

HOUR = 3_600_000


def test_words_can_be_read_on_every_ground() -> None:
    """WCAG 2 asks for 4.5 (from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    for fill in (*STEPS, PAPER):
        assert contrast(ink_on(fill), fill) >= 4.5
    for ink in (INK, SOFT):
        assert contrast(ink, PAPER) >= 4.5


def test_steps_can_be_told_apart_in_grey() -> None:
    grey = [luminance(step) for step in STEPS]
    assert grey == sorted(grey, reverse=True)
    assert all(contrast(*pair) > 1.2 for pair in pairwise(STEPS))


@given(st.floats(0, 1e6), st.floats(1e-6, 1e6))
def test_ticks_are_round_and_hold_all(low: float, width: float) -> None:
    found = ticks(low, low + width)
    assert found[0] <= low + 1e-9 * max(1, low)
    assert found[-1] >= (low + width) * (1 - 1e-6)
    assert 2 <= len(found) <= 8


@given(st.floats(1e-6, 1e9), st.floats(1, 1e7))
def test_log_ticks_hold_all(low: float, ratio: float) -> None:
    found = log_ticks(low, low * ratio)
    assert found == sorted(found)
    assert found[0] <= low * (1 + 1e-6)
    assert found[-1] >= low * ratio * (1 - 1e-6)
    assert len(found) >= 2


def test_numbers_on_axes() -> None:
    shown = [short(value) for value in (0, 0.5, 20, 1500, 20_000, 3e9, 2.5e-4)]
    assert shown == ["0", "0.5", "20", "1 500", "20 000", "3e9", "2.5e-4"]


def test_equal_ratios_are_equally_long() -> None:
    scale = Scale(1, 100, 0, 200, log=True)
    assert [scale.at(value) for value in (1, 10, 100, 1000)] == pytest.approx([0, 100, 200, 200])


def test_times_are_round() -> None:
    assert all(text.endswith((":00", ":30")) for _, text in time_ticks(0, 3 * HOUR))
    assert len(time_ticks(0, 3 * HOUR)) <= 8


def inside(picture: Picture) -> None:
    for shape in picture.shapes:
        if isinstance(shape, Words):
            width = 0.62 * shape.size * len(shape.text)
            left = shape.x - {"start": 0, "middle": width / 2, "end": width}[shape.anchor]
            assert left >= -2, shape
            assert left + width <= picture.width + 6, shape
            assert 8 <= shape.y <= picture.height, shape
        if isinstance(shape, Box):
            assert -1 <= shape.x <= shape.x + shape.width <= picture.width + 1
            assert -1 <= shape.y <= shape.y + shape.height <= picture.height + 1
    root = ET.fromstring(svg(picture))
    assert root.find("{http://www.w3.org/2000/svg}title").text == picture.title  # type: ignore[union-attr]


def grid() -> Grid:
    cells = [Cell(4.26), Cell(15, True, True), Cell(None), Cell(99.5, True)]
    cells += [Cell(None, future=True)] * 3
    heads = [f"{name} 21" for name in ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")]
    rows = [(f"{hour} h", cells) for hour in range(24)]
    bounds = (5, 10, 15, 30, 60)
    return Grid("hours", "a week", "µg/m³", heads, rows, bounds, ("day", cells))


def test_a_calendar_shows_numbers_marks_and_gaps() -> None:
    picture = calendar(grid())
    inside(picture)
    words = [shape.text for shape in picture.shapes if isinstance(shape, Words)]
    assert words.count("4.3") == 25
    assert words.count("100") == 25
    assert sum(isinstance(shape, Box) and shape.hatched for shape in picture.shapes) == 26
    assert picture.says == "72 cells with a mean; the highest is 100 µg/m³, Thu 21 9 h."
    assert [step_of(value, grid().bounds) for value in (0, 5, 14.9, 15, 60)] == [0, 1, 2, 3, 5]


def test_a_curve_is_broken_where_nothing_is_known() -> None:
    line = [(n * 60_000, None if 20 <= n < 30 else 5.0 + n) for n in range(60)]
    drawn = Drawn(
        "print", "a print", "µg/m³", line, [Shade(0, HOUR // 2, "print")], [(35, "a limit")]
    )
    picture = curve(drawn)
    inside(picture)
    inked = [s for s in picture.shapes if isinstance(s, Line) and s.stroke == INK and not s.dashed]
    assert sorted(len(line.points) for line in inked) == [20, 30]
    with pytest.raises(ValueError, match="nothing is known"):
        curve(Drawn("x", "x", "x", [(0, None)]))


def test_conditions_lie_on_one_scale() -> None:
    rows = [
        Row("PLA, closed", 40, 25, 70, (30, 40, 52), "40 µg, 25 to 70"),
        Row("ABS", None, says="too little is known"),
    ]
    picture = side_by_side(
        SideBySide("c", "c", "µg", rows, band=Band(10, 400, "published"), at=100, at_label="x")
    )
    inside(picture)
    assert "ABS: too little is known" in picture.says
    with pytest.raises(ValueError, match="nothing is known"):
        side_by_side(SideBySide("c", "c", "µg", [Row("a", None)]))


def test_the_same_picture_becomes_png(tmp_path: Path) -> None:
    line = [(n * 60_000, float(n)) for n in range(60)]
    band = [(t, value - 1, value + 1) for t, value in line]
    shown = (calendar(grid()), curve(Drawn("a", "a", "b", line, band=band, under=line)))
    for picture in (*shown, side_by_side(SideBySide("c", "c", "d", [Row("x", 3, singles=(2,))]))):
        path = tmp_path / f"{picture.name}.png"
        png(picture, path)
        assert path.stat().st_size > 3000


def test_a_long_name_does_not_run_into_its_figure() -> None:
    name = "PETG, 240 °C, door closed, charcoal filter, second spool"
    picture = side_by_side(
        SideBySide("c", "c", "µg", [Row(name, 3, says="19 400 (15 400 to 24 400)")])
    )
    inside(picture)
    label, says = (s for s in picture.shapes if isinstance(s, Words) and s.size in (12, 13))
    assert label.text.endswith("…")
    assert label.x + 8.0 * len(label.text) <= says.x - 6 * len(says.text)


def test_names_that_people_give_stay_words_in_a_picture() -> None:
    wild = '<b>"PLA" & co</b>'
    drawn = side_by_side(SideBySide(wild, wild, wild, [Row(wild, 2.0, 1.0, 3.0)], True))
    texts = [element.text for element in ET.fromstring(svg(drawn)).iter()]
    assert texts.count(wild) >= 2
    assert "<b>" not in svg(drawn)


def test_a_band_is_named_in_full_and_marks_do_not_run_into_each_other() -> None:
    label = "published: interquartile, 447 tests by one method (Zhang and Black 2022)"
    row = Row("open", 79_200, 68_900, 111_000)
    picture = side_by_side(
        SideBySide("c", "c", "million particles/h", [row], band=Band(1000, 100_000, label))
    )
    inside(picture)
    words = [shape for shape in picture.shapes if isinstance(shape, Words)]
    assert label in " ".join(one.text for one in words)
    marks = [one for one in words if one.anchor == "middle"]
    for one, other in pairwise(marks):
        assert one.x + 3.4 * len(one.text) < other.x - 3.4 * len(other.text)


def test_the_name_of_a_level_stands_where_the_line_is_not() -> None:
    """It stood at the right, with the curve across it."""
    times = range(0, 24 * HOUR, HOUR // 4)
    values: list[tuple[int, float | None]] = [
        (t, 40.0 - t / HOUR if t > 12 * HOUR else 5.0) for t in times
    ]
    picture = curve(Drawn("d", "d", "µg/m³", values, [], levels=[(20.0, "guideline for a day 20")]))
    inside(picture)
    (level,) = (one for one in picture.shapes if isinstance(one, Words) and one.bold)
    lines = [one for one in picture.shapes if isinstance(one, Line) and one.line == 1.7]
    for x, y in (place for line in lines for place in line.points):
        across = level.x - 7 * len(level.text) <= x <= level.x
        assert not (across and level.y - 11 <= y <= level.y + 3)


def test_a_png_has_its_title_in_it(tmp_path: Path) -> None:
    """Seen by itself it told no averaging time."""
    rows = [Row("open", 3.0)]
    short, long = (
        side_by_side(SideBySide("c", title, "µg", rows)) for title in ("", "a title " * 30)
    )
    heights = []
    for picture in (short, long):
        png(picture, tmp_path / "c.png")
        heights.append(int.from_bytes((tmp_path / "c.png").read_bytes()[20:24], "big"))
    assert heights[1] > heights[0] + 3 * 14 * 200 / 72
