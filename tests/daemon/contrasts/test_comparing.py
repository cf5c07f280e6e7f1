"""What a comparison says: differences, none that could be shown, nothing at all; and mistakes."""

import math
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from invoking import json_of, said_by
from ventwright.commands.compare import compare as compare_command
from ventwright.commands.repeats import repeats
from ventwright.contrasts.allowing import allowed_for
from ventwright.contrasts.compare import LITERATURE, Question, compare
from ventwright.contrasts.sample import CompareError, Sample
from ventwright.trials.figures import Comparison

QUESTION = Question("per_gram", "PM2.5 emitted per gram", "µg/g")


def samples(groups: dict[str, Sequence[float]]) -> list[Sample]:
    """Take the conditions in turn, as a careful owner prints them."""
    turns = range(max(len(values) for values in groups.values()))
    made = [(name, n, vs[n]) for n in turns for name, vs in groups.items() if n < len(vs)]
    return [Sample(f"{c}-{n}", c, v, order=order) for order, (c, n, v) in enumerate(made)]


def of(question: Question = QUESTION, **groups: Sequence[float]) -> Comparison:
    return compare(samples(groups), question)


def test_a_difference_is_a_ratio_with_its_interval_higher_condition_first() -> None:
    found = of(pla=(10, 12, 11, 9), abs=(30, 36, 33, 27))
    (contrast,) = found.contrasts
    assert contrast.differs
    assert contrast.ratio.value == pytest.approx(1 / 3)
    assert contrast.verdict.startswith("abs is 3 times pla in PM2.5 emitted per gram (95 %: 2.")
    assert found.conditions[0].middle.value == pytest.approx((10 * 12 * 11 * 9) ** 0.25)


def test_old_and_fresh_filament_may_show_no_difference_and_it_says_what_would_have_shown() -> None:
    """Common practice, no source."""
    (contrast,) = of(old=(10, 13, 12), fresh=(11, 14)).contrasts
    assert not contrast.differs
    assert contrast.shown is not None
    assert contrast.verdict.startswith(
        "old and fresh: no difference that these five prints could show; a factor of "
        f"{contrast.shown:.3g} would have shown in four cases of five"
    )
    assert "no proof that they are equal" in contrast.verdict


def test_door_closed_or_open_without_extraction_may_show_no_difference() -> None:
    """Common practice, no source."""
    found = of(closed=(27, 22, 31, 25), open=(30, 24, 27, 33))
    assert not found.contrasts[0].differs
    assert "no difference that these eight prints could show" in found.verdicts[0]


def test_one_print_of_each_is_told_that_nothing_can_be_concluded() -> None:
    found = of(pla=(10,), abs=(300,))
    (contrast,) = found.contrasts
    assert not contrast.differs
    assert "nothing can be concluded from one print of each" in contrast.verdict
    assert "A factor of 1.5 takes 17 prints of each" in contrast.verdict
    assert found.spread == pytest.approx(LITERATURE)
    assert "literature" in found.spread_from


def test_one_print_beside_several_concludes_nothing_either() -> None:
    found = of(pla=(10, 11, 12), abs=(300,), petg=(20, 22, 21))
    lone = [c for c in found.contrasts if "abs" in (c.one, c.other)]
    assert all(not c.differs and "nothing can be concluded" in c.verdict for c in lone)


def test_repeats_that_do_not_spread_are_not_tested() -> None:
    found = of(pla=(10, 10), abs=(20, 20))
    assert found.contrasts[0].p is None
    assert "nothing can be tested" in found.verdicts[0]


def test_prints_below_the_floor_give_a_bound_on_one_side_and_nothing_on_the_other() -> None:
    low = [Sample(f"l{n}", "filter", v, order=2 * n, below=True) for n, v in enumerate((1, 1.2, 1))]
    high = [Sample(f"h{n}", "none", v, order=2 * n + 1) for n, v in enumerate((30, 33, 36))]
    (contrast,) = compare(low + high, QUESTION).contrasts
    assert contrast.differs
    assert "none is at least 31 times filter" in contrast.verdict
    other = [Sample(f"o{n}", "weak", 0.5 + n / 10, order=20 + n) for n in range(3)]
    (muddled,) = compare(low + other, QUESTION).contrasts
    assert not muddled.differs
    assert "below what the part can show" in muddled.verdict


def test_taken_alone_it_would_count_but_not_among_many() -> None:
    groups = {f"m{n}": (10.0, 12.0, 14.5) for n in range(5)} | {"odd": (15.5, 18.0, 22.0)}
    found = compare(samples(groups), Question("x", "x", "", method="holm"))
    contrast = next(c for c in found.contrasts if c.other == "odd")
    assert contrast.p is not None
    assert contrast.p < 0.05
    assert not contrast.differs
    assert "among 15 comparisons one such is no surprise" in contrast.verdict


def test_a_day_that_matters_is_named() -> None:
    values = {("a", 1): 10, ("a", 2): 20, ("b", 1): 15, ("b", 2): 31}
    found = []
    for n in range(3):
        for order, ((name, day), value) in enumerate(values.items()):
            batch = {"day": f"2026-05-0{day}"}
            exact = value * (1 + n / 50)
            found.append(Sample(f"{name}{day}{n}", name, exact, batch, 4 * n + order))
    told = compare(found, QUESTION)
    assert any(
        text.startswith("The day matters") and "2026-05-02 came out 2 times" in text
        for text in told.batches
    )


def test_a_label_beside_is_allowed_for_and_the_difference_within_it_told() -> None:
    """Two materials a factor of 5 apart hide what the door does, unless allowed for."""
    found = []
    for order, (door, material, _) in enumerate(
        (d, m, n) for n in range(4) for m in (10.0, 50.0) for d in ("open", "closed")
    ):
        value = material * (1.4 if door == "open" else 1.0) * (1 + 0.03 * ((order * 7) % 5))
        batch = {"material": str(material)}
        found.append(Sample(f"p{order}", door, value, batch, order))
    told = compare(found, QUESTION)
    assert not told.contrasts[0].differs
    said = next(text for text in told.batches if text.startswith("With material allowed for"))
    assert "open is 1.4" in said.replace("1.39", "1.4").replace("1.41", "1.4")


def test_allowing_for_a_batch_agrees_with_ordinary_least_squares() -> None:
    import numpy as np

    dice = np.random.default_rng(3)
    found = [
        Sample(f"p{n}", "abc"[n % 3], float(v), {"day": str(n % 4)}, n)
        for n, v in enumerate(dice.normal(3, 1, 17))
    ]
    values = [float(s.value) for s in found]
    test = allowed_for(found, values, ["day"], "a", "c")
    table = [
        [s.condition == "a", s.condition == "b", *(s.batches["day"] == str(d) for d in range(4))]
        for s in found
    ]
    design = np.array(table, dtype=float)
    least, squares, rank, _ = np.linalg.lstsq(design, np.array(values), rcond=None)
    error = np.sqrt(squares[0] / (17 - rank) * np.linalg.inv(design.T @ design)[0, 0])
    assert test is not None
    assert (test.difference, test.error, test.df) == pytest.approx((least[0], error, 17 - rank))


def test_conditions_each_printed_on_a_day_of_its_own_are_told() -> None:
    found = [
        Sample(f"{name}{n}", name, 10.0 + n, {"day": name}, order)
        for order, (name, n) in enumerate([("a", 0), ("a", 1), ("b", 0), ("b", 1)])
    ]
    told = compare(found, QUESTION).batches
    assert any("No day holds prints of two conditions" in text for text in told)
    assert any("printed in one go" in text for text in told)


def test_a_drift_over_the_prints_is_named() -> None:
    found = [
        Sample(f"p{n}", "ab"[n % 2], 10 * math.exp(n / 10) * (1 + 0.02 * (n % 3)), order=n)
        for n in range(10)
    ]
    told = compare(found, QUESTION).batches
    assert any("The later the print, the higher" in text for text in told)


def test_without_a_pattern_none_is_named() -> None:
    assert of(a=(10, 13, 9, 12), b=(11, 10, 14, 9)).batches == ()


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(0.1, 1000), min_size=2, max_size=6), st.floats(0.01, 100))
def test_units_do_not_matter(values: list[float], unit: float) -> None:
    other = [v * 1.3 + 0.05 for v in values]
    plain = of(a=values, b=other).contrasts[0]
    scaled = of(a=[v * unit for v in values], b=[v * unit for v in other]).contrasts[0]
    assert scaled.ratio.value == pytest.approx(plain.ratio.value)
    if plain.ratio.standard and plain.ratio.standard > 1e-6:
        assert scaled.p == pytest.approx(plain.p, abs=1e-6)


@pytest.mark.parametrize(
    ("groups", "changes", "says"),
    [
        ({"a": (1, 2)}, {}, 'two conditions are needed to compare, and there is only "a"'),
        ({"a": (1, 2), "b": (0, 2)}, {}, "ratios need values above 0"),
        ({"a": (1, 2), "b": (1, 2)}, {"method": "guess"}, '"guess" is no method'),
        ({"a": (1, 2), "b": (1, 2)}, {"reference": "c"}, 'no condition "c"; there is "a", "b"'),
        ({"a": (1, 2), "b": (1, 2)}, {"method": "dunnett"}, "name one with --reference"),
        ({str(n): (1, 2) for n in range(21)}, {}, "21 conditions are too many"),
    ],
)
def test_what_cannot_be_compared_is_told(
    groups: dict[str, Sequence[float]], changes: dict[str, str], says: str
) -> None:
    question = Question("x", "x", "", **changes)  # type: ignore[arg-type]
    with pytest.raises(CompareError, match=says):
        compare(samples(groups), question)


def csv(folder: Path, text: str) -> str:
    file = folder / "repeats.csv"
    file.write_text(text)
    return str(file)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("a,1\nb\n", "line 2: a condition and a value are needed"),
        ("condition,value\na,1\nb,many\n", 'line 3: "many" is no number'),
        ("a,1\nb,nan\n", 'line 2: "nan" is no number'),
        ("a,1\na,2\n", "two conditions are needed"),
        ("material,emission\na,much\n", "a header names its columns condition, value, batch"),
        ("a,1\na,2\nb,1e300\nb,2", "line 3: 1e300 is out of range"),
        ("a,1\na,2\nb,1e9999999\nb,2", 'line 3: "1e9999999" is no number'),
        ("a,1\na,2\nb,1/3\nb,2", 'line 3: "1/3" is no number'),
        ("a,1\na,2\n,3\nb,2", "line 3: a condition and a value are needed"),
        ("a,1\na,-2\nb,3\nb,2", "line 2 is -2: ratios need values above 0"),
        ("PLA,ABS\n1,2\n3,4,5\n", "line 3: more cells than the 2 conditions above"),
    ],
)
def test_a_wrong_table_is_told_with_its_line(tmp_path: Path, text: str, says: str) -> None:
    said = said_by(compare_command, "--csv", csv(tmp_path, text), status=1)
    assert says in said.replace("\n", " ")


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_tables_come_with_any_usual_mark_with_and_without_a_header(
    tmp_path: Path, mark: str
) -> None:
    rows = [f"{c}{mark}{v}" for c, v in (("a", 1), ("a", 2), ("b", "3.5"), ("b", 4))]
    plain = json_of(compare_command, "--csv", csv(tmp_path, "\n".join(rows)), "--json")
    turned = [mark.join(reversed(row.split(mark))) for row in rows]
    text = "\n".join([f"value{mark}condition", *turned])
    headed = json_of(compare_command, "--csv", csv(tmp_path, text), "--json")
    assert plain["contrasts"][0]["p"] == headed["contrasts"][0]["p"]


def test_a_decimal_comma_is_read_where_it_parts_no_cells(tmp_path: Path) -> None:
    rows = "condition;value\na;1,5\na;2\nb;3,5\nb;4"
    comma = json_of(compare_command, "--csv", csv(tmp_path, rows), "--json")
    point = json_of(compare_command, "--csv", csv(tmp_path, rows.replace(",", ".")), "--json")
    assert comma["tests"] == point["tests"]


def test_spreads_that_differ_are_named_where_one_is_taken_for_all() -> None:
    pooled = Question("x", "x", "", method="tukey")
    uneven = {"a": (10, 10.1, 9.9), "b": (20, 20.3, 19.8), "c": (20, 60, 33)}
    assert "spread unequally" in of(pooled, **uneven).verdicts[-1]
    assert "unequally" not in str(of(**uneven).verdicts)
    alike = {"a": (10, 11, 12), "b": (20, 22.5, 24), "c": (40, 43, 48)}
    assert "unequally" not in str(of(pooled, **alike).verdicts)


def test_each_pair_is_taken_by_its_own_spread_unless_one_is_asked_for_all() -> None:
    """What the even pair could have shown does not lean on the uneven third."""
    found = of(a=(10, 10.1, 9.9), b=(10, 10.3, 9.8), c=(20, 60, 33))
    assert found.method == "sidak"
    assert "each pair by its own" in found.spread_from
    even, *others = found.contrasts
    assert even.shown is not None
    assert even.shown < 1.2
    assert all(one.shown is not None and one.shown > 5 for one in others)
    for one in found.contrasts:
        assert one.adjusted == pytest.approx(1 - (1 - (one.p or 0)) ** 3)
        ends = one.ratio.low, one.ratio.high
        assert one.differs == (not (ends[0] or 0) < 1 < (ends[1] or 0))


def test_two_prints_against_many_count_only_where_they_would_whatever_the_spreads() -> None:
    """Two that lie close together by chance; Welch's test alone would call it a difference."""
    question = Question("x", "x", "", log=False)
    (contrast,) = of(question, few=(14.0, 14.02), many=(10, 13, 11, 14, 12, 9)).contrasts
    assert contrast.p is not None
    assert contrast.p < 0.05
    found = of(question, few=(14.0, 15.0), many=(10, 13, 11, 14, 12, 9))
    assert "Two prints stand against more" in found.verdicts[-1]
    (contrast,) = found.contrasts
    assert contrast.p is not None
    assert contrast.adjusted is not None
    assert contrast.p < 0.05 < contrast.adjusted
    assert not contrast.differs
    assert "among" not in contrast.verdict
    assert "Two prints" not in str(of(few=(14, 15), many=(10, 13)).verdicts)


def test_conditions_of_several_labels_are_offered_one_at_a_time() -> None:
    question = Question("x", "x", "", by=("door", "material"))
    said = of(question, a=(10, 12), b=(11, 12.5), c=(30, 37)).verdicts[-1]
    assert said.endswith("which show more: `--by door` or `--by material`.")


def test_what_is_no_text_is_told(tmp_path: Path) -> None:
    (tmp_path / "sheet").write_bytes(b"PK\x03\x04\xff\xfe")
    said = said_by(compare_command, "--csv", str(tmp_path / "sheet"), status=1)
    assert "is no text in UTF-8" in said.replace("\n", " ")


def test_the_order_of_a_table_is_not_taken_for_that_of_printing(tmp_path: Path) -> None:
    in_rows = "a,1\na,1.2\nb,3.5\nb,4"
    said = said_by(compare_command, "--csv", csv(tmp_path, in_rows)).replace("\n", " ")
    assert "If the lines stand in the order of printing, every condition was printed in" in said
    drifting = "\n".join(f"{'ab'[n % 2]},{10 * 1.2**n * 1.01 ** (n * n % 3)}" for n in range(10))
    said = said_by(compare_command, "--csv", csv(tmp_path, drifting)).replace("\n", " ")
    assert "If the lines stand in the order of printing, the later the print, the higher" in said


def test_the_command_says_it_in_plain_words(tmp_path: Path) -> None:
    rows = "\n".join(f"{c},{v}" for c, v in (("a", 1), ("a", 1.2), ("b", 3.5), ("b", 4)))
    said = said_by(compare_command, "--csv", csv(tmp_path, rows)).replace("\n", " ")
    assert "b is 3.42 times a" in said
    assert "Welch's test" in said


def test_repeats_are_told_in_a_sentence() -> None:
    assert said_by(repeats, "--ratio", "2", "--gsd", "1.4").startswith("6 prints of each condition")
    assert "with a chance of" in said_by(repeats, "--ratio", "1.5", "--prints", "4")
    assert said_by(repeats, status=1).startswith("what is to be shown?")
    assert "is no ratio above 1" in said_by(repeats, "--ratio", "0.5", status=2)


def test_a_spread_that_is_no_factor_is_refused(tmp_path: Path) -> None:
    table = csv(tmp_path, "a,1\nb,2")
    said = said_by(compare_command, "--csv", table, "--spread", "0.5", status=1)
    assert said.startswith("--spread 0.5 must be above 1")


WIDE = """# filament, by weight

PLA;ABS;PETG
1,5;3,5;2
2;4;<2,5
1,8;;2,2
"""


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_a_column_a_condition_is_read_too(tmp_path: Path, code: str, newline: str) -> None:
    """Remarks, blank lines, decimal commas, a missing cell and a bound, as sheets are saved."""
    file = tmp_path / "wide.csv"
    file.write_bytes(WIDE.replace("PETG", "PÄTG").replace("\n", newline).encode(code))
    found = json_of(compare_command, "--csv", str(file), "--json")
    sizes = {name: group["n"] for name, group in found["tests"]["groups"].items()}
    assert sizes == {"PLA": 3, "ABS": 2, "PÄTG": 3}
    rows = "PLA 1.5\nPLA 2\nPLA 1.8\nABS 3.5\nABS 4"
    long = json_of(compare_command, "--csv", csv(tmp_path, rows), "--json")
    alone = found["tests"]["pairs"][0]
    assert alone["welch"]["t"] == pytest.approx(long["tests"]["pairs"][0]["welch"]["t"])
    below = [repeat["below"] for repeat in found["conditions"][2]["repeats"]]
    assert below == [False, True, False]


def test_other_names_above_the_columns_are_understood_unless_there_are_two_ways(
    tmp_path: Path,
) -> None:
    named = csv(tmp_path, "filament,yield\nPLA,1\nPLA,2\nABS,3\nABS,5")
    assert len(json_of(compare_command, "--csv", named, "--json")["conditions"]) == 2
    uneven = csv(tmp_path, "PLA,ABS\n14,10\n15,13\n,11\n,14\n,12\n,9")
    groups = json_of(compare_command, "--csv", uneven, "--json")["tests"]["groups"]
    assert [group["n"] for group in groups.values()] == [2, 6]
    two_ways = csv(tmp_path, "nozzle,yield\n200,1\n200,2\n220,3\n220,5")
    said = said_by(compare_command, "--csv", two_ways, status=1).replace("\n", " ")
    assert 'are "nozzle" and "yield" two conditions, or is the first column the condition?' in said


@pytest.mark.parametrize("method", ["usual", "holm", "tukey", "dunnett"])
@pytest.mark.parametrize(
    "rows", ["a,5\nb,5", "a,5\na,5\nb,5\nb,5", "a,1e99\na,7\na,1\nb,1\nb,2", "a,5\na,6\nb,7"]
)
def test_no_table_ends_in_a_traceback_or_numbers_that_json_has_not(
    tmp_path: Path, method: str, rows: str
) -> None:
    words = ("--scale", "linear", "--method", method, "--reference", "a", "--json")
    found = json_of(compare_command, "--csv", csv(tmp_path, rows), *words)
    assert "NaN" not in str(found)
    assert "inf" not in str(found)
    assert found["contrasts"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--ratio", "nan"), "nan is no finite number"),
        (("--ratio", "1e300"), "is not in the range"),
        (("--ratio", "1.00001", "--gsd", "900"), "times the spread is out of range"),
        (("--between", "1e-9", "--within", "3", "--conditions", "3"), "is out of range"),
    ],
)
def test_what_no_number_of_prints_answers_is_told(words: tuple[str, ...], says: str) -> None:
    """Some of these ended in a traceback, some never."""
    status = 1 if "out of range" in says else 2
    assert says in said_by(repeats, *words, status=status).replace("\n", " ")
