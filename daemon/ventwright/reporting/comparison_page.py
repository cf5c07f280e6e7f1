"""The page of a comparison: verdicts first, conditions side by side, what could have been shown."""

from collections.abc import Iterator, Sequence

from ventwright.contrasts.words import how
from ventwright.drawing.conditions import Row, SideBySide, side_by_side
from ventwright.drawing.shapes import Picture
from ventwright.reporting.figures import interval, told, upright, whole
from ventwright.reporting.markup import Html, bullets, paragraph, section, table
from ventwright.reporting.page import figure as drawn
from ventwright.reporting.page import page
from ventwright.reporting.published import band, beside
from ventwright.reporting.words import figure
from ventwright.trials.figures import Comparison, Condition, Contrast, Print

_HOW = (
    "Prints are the repeats, not seconds. Ring: one print; bar across: their middle; box: where "
    "the true middle is with 95 %."
)
_RATIO = "A ratio of 1 is no difference; a box that reaches over 1 leaves it open."


def comparison_pictures(compared: Comparison, prints: Sequence[Print]) -> Iterator[Picture]:
    """Draw conditions, and the ratios of those compared."""
    quantity = prints[0].channel.partition(".")[2] if prints else ""
    rows = [_row(one) for one in compared.conditions]
    if any(row.value is not None for row in rows):
        yield side_by_side(
            SideBySide(
                "conditions",
                f"{compared.title}: every print, middle and 95 % range{_unpublished(compared)}",
                compared.unit,
                rows,
                compared.log,
                band=band(quantity, compared.unit) if compared.figure == "per_hour" else None,
            )
        )
    known = [one for one in compared.contrasts if one.ratio.value is not None]
    ratios = [_ratio(one, compared.log) for one in known]
    if ratios:
        what = "ratio" if compared.log else f"difference, {compared.unit}"
        yield side_by_side(
            SideBySide(
                "ratios",
                f"Conditions compared: {what} and 95 % range",
                what,
                ratios,
                compared.log,
                at=1.0 if compared.log else 0.0,
                at_label="no difference",
            )
        )


def _unpublished(compared: Comparison) -> str:
    """Say why no published range is drawn behind emission of mass."""
    mass = compared.unit.startswith("µg") and compared.unit != "µg/m³"
    return "; no published range of mass could be read to be drawn behind" if mass else ""


def _row(one: Condition) -> Row:
    singles = tuple(repeat.value for repeat in one.repeats)
    middle = one.middle
    says = whole(middle).replace(f" {middle.unit}", "")  # the axis has it
    return Row(one.name, middle.value, middle.low, middle.high, singles, says)


def _ratio(one: Contrast, log: bool) -> Row:
    name, ratio = upright(one, log)
    return Row(name, ratio.value, ratio.low, ratio.high, says=whole(ratio))


def comparison_page(compared: Comparison, prints: Sequence[Print], room: str, now: int) -> Html:
    """Write the page; `prints` are those that were compared, if there are any, `now` Unix ms."""
    return page(
        room=room,
        title=f"Comparison: {compared.title} by {', '.join(compared.by)}",
        verdict=headline(compared),
        unseen=any(made.optical for made in prints),
        inside=_sections(compared, prints),
        notes=[_HOW, _RATIO, *dict.fromkeys(c for made in prints for c in made.cautions)],
        made=now,
    )


def headline(compared: Comparison) -> str:
    """Say the first verdict, or that there is nothing to compare."""
    if not compared.verdicts:
        return "There is nothing to compare yet."
    contrasts = compared.contrasts
    if len(contrasts) < 2:
        return compared.verdicts[0]
    shown = [one for one in contrasts if one.differs]
    begin = f"{len(shown)} of {len(contrasts)} comparisons show a difference."
    widest = max(shown, key=_apart, default=None)
    return f"{begin} The largest: {widest.verdict}" if widest else begin


def _apart(one: Contrast) -> float:
    """Tell how far apart two conditions are, whichever stands first."""
    value = one.ratio.value or 0.0
    return max(value, 1 / value) if value > 0 else abs(value)


def _sections(compared: Comparison, prints: Sequence[Print]) -> Iterator[Html]:
    pictures = list(comparison_pictures(compared, prints))
    yield section("What can be said?", bullets(compared.verdicts) if compared.verdicts else "")
    yield section("How do they stand side by side?", *(drawn(one) for one in pictures))
    yield section("In numbers", _conditions(compared), _contrasts(compared))
    yield section("How many more prints would it take?", _needs(compared))
    yield section("Was there a pattern?", bullets(compared.batches) if compared.batches else "")
    yield section("What was left out?", _left_out(compared))
    materials = dict.fromkeys(made.labels.get("material", "") for made in prints)
    if named := [one for one in materials if one]:
        yield section("What is published?", beside(named, prints[0].unit == "µg/m³"))


def _conditions(compared: Comparison) -> Html:
    rows = [
        (
            one.name,
            str(len(one.repeats)),
            told(one.middle),
            interval(one.middle),
            _spread(one.spread, compared),
        )
        for one in compared.conditions
    ]
    return table(("condition", "prints", "middle", "range", "spread"), rows)


def _spread(spread: float | None, compared: Comparison) -> str:
    if spread is None:
        return "not known from one print"
    return f"a factor of {spread:.2g}" if compared.log else figure(spread, compared.unit)


def _contrasts(compared: Comparison) -> Html:
    if not compared.contrasts:
        return ""
    rows = [
        (
            upright(one, compared.log)[0],
            whole(upright(one, compared.log)[1]),
            _probability(one.p),
            _probability(one.adjusted),
            "yes" if one.differs else "not shown",
            f"{one.shown:.3g}" if one.shown else "not known",
        )
        for one in compared.contrasts
    ]
    heads = ("compared", "ratio", "p alone", "p of all", "differs", "would have shown")
    if not compared.log:
        heads = ("compared", "difference", "p alone", "p of all", "differs", "would have shown")
    spread = _spread(compared.spread, compared)
    note = (
        f"{how(compared)} p alone: Welch's test of these two by themselves. What would have shown, "
        f"in four cases of five, is from a spread of {spread} ({compared.spread_from})."
    )
    return table(heads, rows) + paragraph(note)


def _probability(p: float | None) -> str:
    return "not known" if p is None else "below 0.001" if p < 0.001 else f"{p:.2g}"


def _needs(compared: Comparison) -> Html:
    rows = [
        (
            upright(one, compared.log)[0],
            f"a factor of {need.ratio:g}" if compared.log else f"a difference of {need.ratio:g}",
            f"{need.repeats} of each" if need.repeats is not None else "more than a hundred",
        )
        for one in compared.contrasts
        for need in one.needs
    ]
    return table(("compared", "to show", "prints needed"), rows) if rows else ""


def _left_out(compared: Comparison) -> Html:
    rows = list(compared.left_out.items())
    return table(("print", "why"), rows) if rows else ""


def comparison_text(compared: Comparison) -> str:
    """Write the comparison as a few lines."""
    return "\n".join(compared.verdicts) or headline(compared)
