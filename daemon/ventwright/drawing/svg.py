"""Paints a picture as SVG that stands inside a page: no script, no style, nothing from outside."""

from collections.abc import Iterable
from html import escape

from ventwright.drawing.shapes import (
    PAPER,
    SOFT,
    Area,
    Box,
    Dot,
    Line,
    Picture,
    Place,
    Shape,
    Words,
)

_FONT = "ui-sans-serif, system-ui, sans-serif"


def svg(picture: Picture) -> str:
    """Write a picture; its title and what it says are read out by those who read pages aloud."""
    name = escape(picture.name)
    hatch = (
        f'<pattern id="{name}-hatch" width="6" height="6" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path d="M0 0V6" stroke="{SOFT}" stroke-width="1.4"/>'
        "</pattern>"
    )
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(picture.width)} '
        f'{_n(picture.height)}" role="img" aria-labelledby="{name}-title {name}-says" '
        f'font-family="{_FONT}"><title id="{name}-title">{escape(picture.title)}</title>'
        f'<desc id="{name}-says">{escape(picture.says)}</desc><defs>{hatch}</defs>'
    )
    return head + "".join(_shape(shape, f"{name}-hatch") for shape in picture.shapes) + "</svg>"


def _n(value: float) -> str:
    return f"{value:.1f}".rstrip("0").rstrip(".")


def _points(points: Iterable[Place]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _shape(shape: Shape, hatch: str) -> str:
    if isinstance(shape, Box):
        return _box(shape, hatch)
    if isinstance(shape, Line):
        dashes = ' stroke-dasharray="5 4"' if shape.dashed else ""
        return (
            f'<polyline points="{_points(shape.points)}" fill="none" stroke="{shape.stroke}" '
            f'stroke-width="{_n(shape.line)}" stroke-linejoin="round"{dashes}/>'
        )
    if isinstance(shape, Area):
        return f'<polygon points="{_points(shape.points)}" fill="{shape.fill}"/>'
    if isinstance(shape, Dot):
        return (
            f'<circle cx="{_n(shape.x)}" cy="{_n(shape.y)}" r="{_n(shape.radius)}" '
            f'fill="{shape.fill}" stroke="#16211e" stroke-width="1.3"/>'
        )
    return _words(shape)


def _box(box: Box, hatch: str) -> str:
    place = (
        f'<rect x="{_n(box.x)}" y="{_n(box.y)}" width="{_n(box.width)}" height="{_n(box.height)}"'
    )
    stroke = f' stroke="{box.stroke}" stroke-width="{_n(box.line)}"' if box.stroke != "none" else ""
    lined = f'{place} fill="url(#{hatch})"/>' if box.hatched else ""
    return f'{place} fill="{box.fill}"{stroke}/>{lined}'


def _words(words: Words) -> str:
    bold = ' font-weight="700"' if words.bold else ""
    rim = f' stroke="{PAPER}" stroke-width="3" paint-order="stroke"' if words.edged else ""
    anchor = f' text-anchor="{words.anchor}"' if words.anchor != "start" else ""
    return (
        f'<text x="{_n(words.x)}" y="{_n(words.y)}" font-size="{_n(words.size)}" '
        f'fill="{words.fill}"{anchor}{bold}{rim}>{escape(words.text)}</text>'
    )
