"""A time as one curve, with what happened shaded behind it and levels drawn across it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from ventwright.drawing.scales import Scale, short, ticks, time_ticks
from ventwright.drawing.shapes import (
    FAINT,
    INK,
    SOFT,
    STEPS,
    WIDTH,
    Area,
    Box,
    Line,
    Picture,
    Place,
    Shape,
    Words,
)

_LEFT, _RIGHT, _TOP, _BOTTOM = 46.0, WIDTH - 8, 46.0, 230.0
_HEIGHT = 254.0

Series = Sequence[tuple[int, float | None]]
"""Times (Unix ms) and values; None is a gap."""


@dataclass(frozen=True)
class Shade:
    """A stretch of time that is shaded; `step` is how dark, 0 to 2."""

    begins: int
    ends: int
    label: str = ""
    step: int = 1


@dataclass(frozen=True)
class Drawn:
    """What a curve shows."""

    name: str
    title: str
    unit: str
    """With the averaging time: `µg/m³, 1-minute means`"""
    line: Series
    shades: Sequence[Shade] = ()
    levels: Sequence[tuple[float, str]] = ()
    """Values that are drawn across, with their words."""
    under: Series = ()
    """A second line, dashed: the background."""
    under_label: str = ""
    band: Sequence[tuple[int, float, float]] = field(default=())
    """Times with low and high: where the true value is likely to be."""


def curve(drawn: Drawn) -> Picture:
    """Lay out the curve; raises ValueError without a single known value."""
    known = [value for _, value in (*drawn.line, *drawn.under) if value is not None]
    if not known:
        raise ValueError("nothing is known to be drawn")
    known += [bound for _, *pair in drawn.band for bound in pair]
    marks = ticks(min(0.0, *known), max(*known, *_near(drawn, max(known)), 1e-9))
    times = [t for t, _ in drawn.line] + [t for s in drawn.shades for t in (s.begins, s.ends)]
    across = Scale(min(times), max(max(times), min(times) + 1), _LEFT, _RIGHT)
    up = Scale(marks[0], marks[-1], _BOTTOM, _TOP)
    shapes = [
        *_shades(drawn, across),
        *_axes(drawn, marks, across, up),
        *_band(drawn, across, up),
        *_lines(drawn, across, up),
        *_levels(drawn, across, up),
    ]
    return Picture(drawn.name, drawn.title, _says(drawn), _HEIGHT, tuple(shapes))


def _near(drawn: Drawn, highest: float) -> list[float]:
    """Give the levels that are worth the room: not beyond twice the highest value."""
    return [value for value, _ in drawn.levels if value <= 2 * highest] or [highest]


def _shades(drawn: Drawn, across: Scale) -> Iterator[Shape]:
    free = (_LEFT, _LEFT)
    for shade in drawn.shades:
        x, end = across.at(shade.begins), across.at(shade.ends)
        yield Box(x, _TOP, max(1.0, end - x), _BOTTOM - _TOP, STEPS[shade.step])
        if shade.label:
            row = 0 if x >= free[0] else 1
            reach = x + 6.2 * len(shade.label)
            if x >= free[row] and reach <= WIDTH:
                free = (reach, free[1]) if row == 0 else (free[0], reach)
                yield Words(x + 1, _TOP - 5 - 13 * row, shade.label, 11)


def _axes(drawn: Drawn, marks: list[float], across: Scale, up: Scale) -> Iterator[Shape]:
    yield Words(0, 11, drawn.unit, 11, fill=SOFT)
    for value in marks:
        y = up.at(value)
        yield Line(((_LEFT, y), (_RIGHT, y)), FAINT, 0.8)
        yield Words(_LEFT - 5, y + 4, short(value), 11, "end", fill=SOFT)
    yield Line(((_LEFT, _BOTTOM), (_RIGHT, _BOTTOM)), SOFT, 1)
    for t, text in time_ticks(int(across.low), int(across.high)):
        x = across.at(t)
        yield Line(((x, _BOTTOM), (x, _BOTTOM + 4)), SOFT, 1)
        yield Words(min(x, _RIGHT - 14), _BOTTOM + 17, text, 11, "middle", fill=SOFT)


def pieces(series: Series, across: Scale, up: Scale) -> Iterator[tuple[Place, ...]]:
    """Give the unbroken stretches of a series as points."""
    points: list[Place] = []
    for t, value in series:
        if value is not None:
            points.append((across.at(t), up.at(value)))
        elif points:
            yield tuple(points)
            points = []
    if points:
        yield tuple(points)


def _lines(drawn: Drawn, across: Scale, up: Scale) -> Iterator[Shape]:
    for points in pieces(drawn.under, across, up):
        yield Line(_seen(points), SOFT, 1.6, dashed=True)
    if drawn.under and drawn.under_label:
        t, value = next(one for one in reversed(drawn.under) if one[1] is not None)
        place = (across.at(t), up.at(value or 0) - 5)
        yield Words(min(place[0], _RIGHT), place[1], drawn.under_label, 11, "end", fill=SOFT)
    for points in pieces(drawn.line, across, up):
        yield Line(_seen(points), INK, 1.7)


def _seen(points: tuple[Place, ...]) -> tuple[Place, ...]:
    """Make a lone point long enough to be seen."""
    return points if len(points) > 1 else (points[0], (points[0][0] + 1.5, points[0][1]))


def _band(drawn: Drawn, across: Scale, up: Scale) -> Iterator[Shape]:
    if drawn.band:
        low = [(across.at(t), up.at(bound)) for t, bound, _ in drawn.band]
        high = [(across.at(t), up.at(bound)) for t, _, bound in drawn.band]
        yield Area((*low, *reversed(high)), STEPS[2])


def _levels(drawn: Drawn, across: Scale, up: Scale) -> Iterator[Shape]:
    places = [place for points in pieces(drawn.line, across, up) for place in points]
    for value, text in drawn.levels:
        if value <= up.high:
            y = up.at(value)
            yield Line(((_LEFT, y), (_RIGHT, y)), INK, 1.2, dashed=True)
            end = _free(places, y, 7.0 * len(text))
            yield Words(end, y - 4, text, 11, "end", bold=True, edged=True)


def _free(places: list[Place], y: float, wide: float) -> float:
    """Find where words that end there and stand on `y` meet the line least, from the right on."""
    near = [x for x, high in places if y - 17 <= high <= y + 2]
    ends = range(int(_RIGHT) - 2, int(_LEFT + wide), -8)
    return float(min(ends, key=lambda end: sum(end - wide <= x <= end for x in near)))


def _says(drawn: Drawn) -> str:
    known = [value for _, value in drawn.line if value is not None]
    names = ", ".join(shade.label for shade in drawn.shades if shade.label)
    what = f"; shaded: {names}" if names else ""
    return f"From {short(min(known))} to {short(max(known))} {drawn.unit}{what}."
