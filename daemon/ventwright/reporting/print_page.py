"""The page of one test print: its curve, its figures with their uncertainty, its limits."""

from collections.abc import Iterator

from ventwright.averaging.words import ULTRAFINE
from ventwright.drawing.curve import Drawn, Shade, curve
from ventwright.drawing.shapes import Picture
from ventwright.reporting.figures import interval, told, whole
from ventwright.reporting.markup import Html, bullets, element, paragraph, section, table
from ventwright.reporting.page import answers, page
from ventwright.reporting.page import figure as drawn
from ventwright.reporting.published import beside
from ventwright.reporting.words import figure, length, share
from ventwright.trials.cautions import NO_EXCEEDING
from ventwright.trials.figures import Above, Print

_PHASES = {"background": 0, "print": 1, "decay": 0}
_RANGE = (
    "A range holds the true value with 95 %: noise of the part, error of the loss rate and of the "
    "room's volume are in it."
)


def verdict(made: Print) -> str:
    """Say in a sentence or two what the print emitted."""
    if made.unusable:
        return f"{made.name} does not count: {made.unusable}"
    if made.total.value is None:
        why = f": {made.total.why}" if made.total.why else ""
        return f"How much {made.name} emitted is not known{why}."
    begin = f"{made.name} put {whole(made.total)} of {made.title} into the room"
    if made.per_gram.known:
        return f"{begin}, {whole(made.per_gram)}."
    return f"{begin}."


def print_pictures(made: Print) -> Iterator[Picture]:
    """Draw the print as one curve over its background, and its emission over time."""
    shades = [
        Shade(one.begins, one.ends, one.name, _PHASES.get(one.name, 0)) for one in made.phases
    ]
    if any(point.mean is not None for point in made.curve):
        middle = [(point.t + point.length // 2, point) for point in made.curve]
        yield curve(
            Drawn(
                "print",
                f"{made.title} of {made.name}: one-minute means over its phases",
                f"{made.unit}, 1-minute means",
                [(t, point.mean) for t, point in middle],
                shades,
                under=[(t, point.background) for t, point in middle],
                under_label="background",
            )
        )
    if made.rates:
        rates = [(one.t + one.length // 2, one) for one in made.rates]
        minutes = length(made.rates[0].length / 60_000)
        yield curve(
            Drawn(
                "emission",
                f"Emission of {made.name}: {minutes} means, shaded band: 95 %",
                f"{made.rate_unit}, means of {minutes}",
                [(t, one.rate) for t, one in rates],
                shades,
                band=[(t, one.low, one.high) for t, one in rates],
            )
        )


def print_page(made: Print, now: int) -> Html:
    """Write the page; `now` is Unix ms."""
    return page(
        room=made.room,
        title=f"Test print {made.name}",
        verdict=verdict(made),
        unseen=made.optical,
        inside=_sections(made),
        notes=[_RANGE, *[ULTRAFINE] * made.optical],
        made=now,
    )


def _sections(made: Print) -> Iterator[Html]:
    yield answers(_answers(made))
    if made.cautions:
        yield section("What to mind", element("div", bullets(made.cautions), class_="do"))
    pictures = list(print_pictures(made))
    yield section("How did the print go?", *(drawn(one) for one in pictures))
    yield section("What did it emit?", _figures(made))
    yield section("How does it stand to the limits?", _limits(made))
    yield section("What would it do in another room?", _elsewhere(made))
    yield section("What is published?", beside(_materials([made]), made.unit == "µg/m³"))
    yield section("Under which condition?", _condition(made))


def _answers(made: Print) -> Iterator[tuple[str, str, str]]:
    yield "How far did it rise?", told(made.rise), interval(made.rise) or "5-minute mean"
    yield "How much in all?", told(made.total), interval(made.total)
    yield "How much a gram?", told(made.per_gram), interval(made.per_gram)
    yield "How much an hour?", told(made.per_hour), interval(made.per_hour)
    yield "How fast did it clear?", told(made.loss_rate), interval(made.loss_rate)
    yield "How much is known?", share(made.coverage), f"of print and decay, {made.channel}"


def _figures(made: Print) -> Html:
    named = {
        "level at the start": made.start,
        "rise, largest 5-minute mean": made.rise,
        "rise, mean of the print": made.mean_rise,
        "emitted in all": made.total,
        "per gram of filament": made.per_gram,
        "per hour of printing": made.per_hour,
        "per printer": made.per_printer,
        "loss rate of the room": made.loss_rate,
    }
    rows = [
        (name, told(one), interval(one), one.why if interval(one) != one.why else "")
        for name, one in named.items()
    ]
    floor = (
        f"The smallest rise that {made.model} could show here: {figure(made.floor, made.unit)}. "
        f"Print and decay are covered to {share(made.coverage)}."
    )
    return table(("figure", "value", "range", "leans on"), rows) + paragraph(floor)


def _limits(made: Print) -> Html:
    rows = [(one.says, _highest(one, made.unit), length(one.minutes)) for one in made.above]
    heads = ("limit", "highest mean over its time", "minutes above its value")
    return table(heads, rows) + paragraph(NO_EXCEEDING) if rows else ""


def _highest(one: Above, unit: str) -> str:
    return "the record is shorter" if one.highest is None else figure(one.highest, unit)


def _elsewhere(made: Print) -> Html:
    if not (there := made.elsewhere):
        return ""
    rows = [("rise at its highest", whole(there.peak)), ("rise while printing", whole(there.mean))]
    room = f"{figure(there.volume, 'm³')}, {figure(there.loss_rate, '1/h')} lost, well mixed"
    return table(("figure", "value"), rows, room)


def _materials(prints: list[Print]) -> list[str]:
    found = (made.labels.get("material", "") for made in prints)
    return [one for one in dict.fromkeys(found) if one]


def _condition(made: Print) -> Html:
    rows = [(name, value) for name, value in made.labels.items()]
    rows.append(("filament used", figure(made.grams, "g")))
    rows.append(("printers", str(made.printers)))
    rows.append(("channel", f"{made.channel} ({made.model})"))
    rows.append(("room", f"{made.room}, {figure(made.volume, 'm³')}"))
    return table(("label", "value"), rows)


def print_text(made: Print) -> str:
    """Write the print as a few lines."""
    over = [f"Above {one.says}: {length(one.minutes)}." for one in made.above if one.minutes]
    over += [NO_EXCEEDING] if over else []
    lines = [verdict(made), f"Rise: {whole(made.rise)}.", *over, *made.cautions]
    return "\n".join([*lines, *["Ultrafine particles are not seen."] * made.optical])
