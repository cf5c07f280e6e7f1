"""Paints a picture as PNG, by matplotlib; the only module here that needs the analysis extra."""

from pathlib import Path
from textwrap import wrap
from typing import Any

from ventwright.drawing.shapes import (
    INK,
    PAPER,
    SOFT,
    Area,
    Box,
    Dot,
    Line,
    Picture,
    Shape,
    Words,
)

MISSING = (
    "PNG pictures need matplotlib: pip install 'ventwright[analysis]'. The HTML report has all "
    "pictures without it."
)
_DOTS = 200  # a inch
_UNITS = 72  # a inch: one unit of a picture is one point of type
_LINE, _LETTER = 14.0, 6.3  # height of a line of the title, and width of a letter of it


class NoPainterError(ImportError):
    """The analysis extra is not installed."""


def painter() -> Any:
    """Load what paints; raises NoPainterError with a sentence if it is not installed."""
    try:
        from matplotlib import figure
    except ImportError as error:
        raise NoPainterError(MISSING) from error
    return figure.Figure


def png(picture: Picture, path: Path) -> None:
    """Write a picture, its title below, to a file; raises NoPainterError, OSError."""
    title = wrap(picture.title, int(picture.width / _LETTER))
    height = picture.height + _LINE * (len(title) + 1)
    size = (picture.width / _UNITS, height / _UNITS)
    figure = painter()(figsize=size, dpi=_DOTS, facecolor=PAPER)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, picture.width)
    axes.set_ylim(height, 0)
    axes.axis("off")
    for order, shape in enumerate(picture.shapes):
        _paint(axes, shape, order + 1)
    for line, text in enumerate(title, 1):
        words = Words(0, picture.height + _LINE * line, text, 11, fill=SOFT)
        _paint(axes, words, len(picture.shapes) + 1)
    figure.savefig(path, facecolor=PAPER, metadata={"Title": picture.title})


def _paint(axes: Any, shape: Shape, order: int) -> None:
    if isinstance(shape, Box):
        _box(axes, shape, order)
    elif isinstance(shape, Line):
        style = (0, (5, 4)) if shape.dashed else "-"
        xs, ys = zip(*shape.points, strict=True)
        axes.plot(xs, ys, color=shape.stroke, lw=shape.line, ls=style, zorder=order)
    elif isinstance(shape, Area):
        axes.fill(*zip(*shape.points, strict=True), color=shape.fill, lw=0, zorder=order)
    elif isinstance(shape, Dot):
        size = (2 * shape.radius) ** 2
        axes.scatter(
            [shape.x], [shape.y], s=size, c=shape.fill, edgecolors=INK, lw=1.3, zorder=order
        )
    else:
        align = {"start": "left", "middle": "center", "end": "right"}[shape.anchor]
        weight = "bold" if shape.bold else "normal"
        axes.text(
            *(shape.x, shape.y, shape.text),
            fontsize=0.92 * shape.size,
            ha=align,
            va="baseline",
            weight=weight,
            color=shape.fill,
            zorder=order,
            parse_math=False,
            path_effects=_rim() if shape.edged else None,
        )


def _rim() -> list[Any]:
    from matplotlib.patheffects import withStroke

    return [withStroke(linewidth=3, foreground=PAPER)]


def _box(axes: Any, box: Box, order: int) -> None:
    from matplotlib.patches import Rectangle

    common: dict[str, Any] = {"zorder": order}
    place, size = (box.x, box.y), (box.width, box.height)
    axes.add_patch(Rectangle(place, *size, fc=box.fill, ec=box.stroke, lw=box.line, **common))
    if box.hatched:
        axes.add_patch(Rectangle(place, *size, fc="none", ec=SOFT, lw=0, hatch="////", **common))
