"""Pages of a test print, of a comparison and of commissionings."""

import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from aired import MIDNIGHT
from daemon.reporting.examples import compared, made
from daemon.reporting.pages import alone
from ventwright.contrasts.of_prints import usual_figure
from ventwright.contrasts.words import how
from ventwright.drawing.conditions import Band
from ventwright.reporting.commissioning_page import (
    commissioning_page,
    commissioning_pictures,
    commissioning_text,
    rates,
)
from ventwright.reporting.comparison_page import (
    comparison_page,
    comparison_pictures,
    comparison_text,
)
from ventwright.reporting.figures import upright
from ventwright.reporting.happenings import Commissioned
from ventwright.reporting.markup import element
from ventwright.reporting.print_page import print_page, print_pictures, print_text
from ventwright.reporting.published import band
from ventwright.reporting.words import figure
from ventwright.settings.model import Room, Settings, Storage
from ventwright.trials.figures import Above, Figure
from ventwright.trials.words import print_lines


def shown(html: str) -> str:
    return alone(html).replace("\N{NO-BREAK SPACE}", " ")


def test_a_print_is_told_with_its_ranges() -> None:
    words = shown(print_page(made(), MIDNIGHT))
    assert "pla-closed-1 put 5 400 µg (4 700 to 6 200) of PM2.5 into the room" in words
    assert "118 to 155 µg/g with 95 %" in words
    assert "below 1.4 µg/m³" in words
    assert "only one printer ran" in words
    assert "its own decay" in words
    assert "particles, which printers emit most of, are not seen" in words
    assert "Kim 2015, Environ Sci Technol 49:12044 (from memory)" in words
    assert "No published emission of particles by mass could be read" in words
    assert "workshop <b>" in words


def test_a_print_is_drawn_over_its_background_with_its_phases() -> None:
    print_, emission = print_pictures(made())
    assert "shaded: background, print, decay" in print_.says
    assert print_.title == "PM2.5 of pla-closed-1: one-minute means over its phases"
    assert "95 %" in emission.title
    bare = replace(made(), curve=(), rates=())
    assert not list(print_pictures(bare))


def test_a_print_that_shows_nothing_says_so_and_not_zero() -> None:
    low = replace(made(), total=Figure(3.0, "µg", below=210.0), per_gram=Figure(None, "µg/g"))
    assert "put below 210 µg of PM2.5 into the room." in print_text(low)
    unknown = replace(made(), total=Figure(None, "µg", why="no loss rate is known"))
    assert print_text(unknown).startswith("How much pla-closed-1 emitted is not known: no loss")
    assert "not known" in shown(print_page(unknown, MIDNIGHT))
    left_out = replace(made(), unusable="it was interrupted")
    assert print_text(left_out).startswith("pla-closed-1 does not count: it was interrupted")


def test_a_comparison_says_its_verdicts_first() -> None:
    words = shown(comparison_page(compared(), [made()], "workshop", MIDNIGHT))
    verdict = words.index("ABS, closed emits 8.8 times as much as PLA, closed (4.9 to 15.8).")
    assert verdict < words.index("How do they stand side by side?")
    assert "no difference that these six prints could show; a factor of 1.6" in words
    assert "12 of each" in words
    assert "more than a hundred" in words
    assert "the print was interrupted" in words
    assert "1 of 2 comparisons show a difference. The largest: ABS, closed emits 8.8" in words
    assert comparison_text(compared()).count("\n") == 1
    assert how(compared()) in words


def test_conditions_without_a_print_have_a_row_and_no_mark() -> None:
    conditions, ratios = comparison_pictures(compared(), [made()])
    assert "ASA, open: not known" in conditions.says
    assert "ABS, closed : PLA, closed: 8.8 (4.9 to 15.8)" in ratios.says


def test_a_comparison_of_nothing_is_a_page_too() -> None:
    empty = replace(compared(), conditions=(), contrasts=(), verdicts=(), batches=())
    html = comparison_page(empty, [], "workshop", MIDNIGHT)
    assert "There is nothing to compare yet." in html
    assert not list(comparison_pictures(empty, []))


def test_the_published_band_is_drawn_where_units_allow_only() -> None:
    found = band("n0_3", "1/h")
    assert isinstance(found, Band)
    assert (found.low, found.high) == (pytest.approx(1e9), pytest.approx(1e11))
    assert band("pm2_5", "µg/h") is None
    millions = band("n0_3", "million particles/h")
    assert millions is not None
    assert (millions.low, millions.high) == (pytest.approx(1e3), pytest.approx(1e5))
    counts, *_ = comparison_pictures(compared("per_hour", "1/h"), [made(channel="bench.n0_3")])
    masses, *_ = comparison_pictures(compared("per_hour", "µg/h"), [made()])
    assert any("published" in getattr(shape, "text", "") for shape in counts.shapes)
    assert not any("published" in getattr(shape, "text", "") for shape in masses.shapes)


def test_commissionings_are_told_with_the_clean_air() -> None:
    """V (k_on - k_off) is 45 m³ x (3.1 - 0.6) /h: 112.5 m³/h."""
    body = {"channel": "bench.pm2_5", "volume": 45.0, "natural": 0.6, "natural_error": 0.03}
    body |= {"clearance": 3.1, "clearance_error": 0.04, "points": 60, "method": "walk"}
    told = [rates(Commissioned("fan", MIDNIGHT, body))]
    assert told[0]["clean air"] == pytest.approx([112.5, 112.5 - 4.41, 112.5 + 4.41])
    settings = Settings(Room("workshop", 45), Storage(None), {})  # type: ignore[arg-type]
    words = shown(commissioning_page(settings, told, MIDNIGHT))
    assert "With fan the room loses 3.1 1/h (3.0 to 3.2)" in words
    assert "112 m³/h (108 to 117)" in words
    assert "45 min" in words  # 60 ln 10 / 3.1
    (picture,) = commissioning_pictures(told)
    assert "fan off" in picture.says
    assert commissioning_text([]).startswith("This room was never commissioned.")
    assert "never commissioned" in commissioning_page(settings, [], MIDNIGHT)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.0, "0 µg"),
        (0.014, "0.014 µg"),
        (0.96, "0.96 µg"),
        (9.94, "9.9 µg"),
        (9.96, "10 µg"),
        (99.4, "99 µg"),
        (1234.5, "1 234 µg"),
        (-3.26, "-3.3 µg"),
        (2.5e9, "2.50e9 µg"),
        (None, "not known"),
    ],
)
def test_numbers_have_the_digits_that_can_mean_something(value: float | None, shown: str) -> None:
    assert figure(value, "µg") == shown


def test_the_higher_condition_stands_first() -> None:
    low = replace(compared().contrasts[0], ratio=Figure(0.2, "", 0.1, 0.4))
    name, ratio = upright(low, log=True)
    assert name == "PLA, closed : ABS, closed"
    assert (ratio.value, ratio.low, ratio.high) == (5, 2.5, 10)
    assert upright(low, log=False)[0] == "ABS, closed : PLA, closed"


def test_words_in_attributes_stay_words() -> None:
    wild = '"><script>&'
    assert ET.fromstring(element("td", "x", data_head=wild)).get("data-head") == wild


def test_page_and_lines_name_the_same_limits_those_over_a_year_too() -> None:
    """The page left out those over a year, the lines all but the lowest four."""
    over = [Above(str(n), f"limit {n} over a year", n, "year", 9, None) for n in range(1, 7)]
    one = replace(made(), above=tuple(over))
    html, lines, text = shown(print_page(one, 0)), "\n".join(print_lines(one)), print_text(one)
    for n in range(1, 7):
        assert all(f"limit {n} over a year" in told for told in (html, lines, text))
    assert all("does not exceed the limit" in told for told in (html, lines, text))
    assert "the record is shorter" in html


def test_a_picture_of_mass_says_that_nothing_published_is_drawn_behind() -> None:
    first = next(comparison_pictures(compared(), []))
    assert "no published range of mass" in first.title
    numbers = replace(compared(), unit="million particles/g")
    assert "no published" not in next(comparison_pictures(numbers, [])).title


def test_a_print_whose_emission_is_not_known_has_its_curve_and_says_why() -> None:
    why = "the extractor ran, and at what rate the air clears then is not known"
    none = Figure(None, "µg", why=why)
    emitted = {"total": none, "per_gram": none, "per_hour": none, "per_printer": none}
    one = replace(made(), rates=(), **emitted)
    assert [picture.name for picture in print_pictures(one)] == ["print"]
    words = shown(print_page(one, MIDNIGHT))
    assert why in words
    assert "Emission of" not in words
    assert f"not known: {why}." in print_text(one)
    assert usual_figure([one]) == "rise"
    assert usual_figure([one, made()]) == "per_hour"


def test_a_print_without_a_reading_is_a_page_too() -> None:
    blank = tuple(replace(point, mean=None, background=None) for point in made().curve)
    one = replace(made(), rates=(), curve=blank)
    assert list(print_pictures(one)) == []
    assert "<svg" not in print_page(one, MIDNIGHT)
