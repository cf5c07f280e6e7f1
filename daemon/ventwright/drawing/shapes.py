"""What a picture is made of: boxes, lines, areas, dots and words, in units of its own width.

Layout makes shapes, painters (svg.py, png.py) put them down. No shape tells anything by hue: there
is one ink in steps of lightness, hatching for what is not known, and words beside everything.
"""

from dataclasses import dataclass, field

INK = "#16211e"
"""Words and lines that carry meaning."""
SOFT = "#54615c"
"""Axes and remarks; 6:1 on paper."""
PAPER = "#fdfcf7"
FAINT = "#c9d0cb"
"""Lines that only help the eye."""
STEPS = ("#f0f3ee", "#d3ddd6", "#a5bab0", "#4d6d61", "#27473d", "#081a15")
"""From little to much: every step differs in lightness, so that grey shows as much as colour."""
WIDTH = 420.0
"""Every picture is so wide: legible on a phone that shows it at 360 px and on a screen at 640."""

Place = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """A rectangle; hatched where nothing is known."""

    x: float
    y: float
    width: float
    height: float
    fill: str = "none"
    stroke: str = "none"
    line: float = 1.0
    hatched: bool = False


@dataclass(frozen=True)
class Line:
    """A line through points."""

    points: tuple[Place, ...]
    stroke: str = INK
    line: float = 1.5
    dashed: bool = False


@dataclass(frozen=True)
class Area:
    """A filled outline."""

    points: tuple[Place, ...]
    fill: str = STEPS[1]


@dataclass(frozen=True)
class Dot:
    """A round mark; hollow if filled with paper."""

    x: float
    y: float
    radius: float
    fill: str = INK


@dataclass(frozen=True)
class Words:
    """A line of text; `x` is where it starts, its middle or its end."""

    x: float
    y: float
    """Of the baseline."""
    text: str
    size: float = 12.0
    anchor: str = "start"
    """start, middle or end"""
    bold: bool = False
    fill: str = INK
    edged: bool = False
    """Whether a rim of paper keeps it apart from what it stands on."""


Shape = Box | Line | Area | Dot | Words


@dataclass(frozen=True)
class Picture:
    """A picture with what it says in words, for those who do not see it."""

    name: str
    """Of its file: `hours`"""
    title: str
    says: str
    height: float
    shapes: tuple[Shape, ...] = field(default=())
    width: float = WIDTH


def ink_on(fill: str) -> str:
    """Choose dark or light words for a ground."""
    return max(PAPER, INK, key=lambda ink: contrast(ink, fill))


def luminance(colour: str) -> float:
    """Give the relative luminance of `#rrggbb`, 0 (black) to 1. Source: WCAG 2 (from memory)."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Give the contrast of two colours, 1 to 21; words need 4.5. Source: WCAG 2 (from memory)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)
