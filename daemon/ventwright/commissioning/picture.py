"""Draws a fitted curve with its points and residuals. Needs matplotlib, the analysis extra.

Knows analysed files and fits only. Nothing is told by hue: points are rings, the curve is a line.
"""

from collections.abc import Sequence
from itertools import cycle
from pathlib import Path
from typing import Any

from ventwright.commissioning.curves import Analysis, formula
from ventwright.mixing.curve import Fit
from ventwright.mixing.decay import Decay

_STEPS = 300
_STYLES = (("o", "-"), ("^", "--"), ("s", ":"), ("D", "-."))


class NoMatplotlibError(ImportError):
    """The analysis extra is not installed; a sentence."""


def picture(found: Analysis, path: Path) -> None:
    """Draw an analysed file; raises NoMatplotlibError, OSError or ValueError."""
    axes = {"x": found.asked.time_unit, "y": found.asked.unit or "concentration"}
    draw(found.fit, formula(found.asked.model), axes, path)


def draw(fit: Fit, title: str, axes: dict[str, str], path: Path) -> None:
    """Draw a fit above its residuals; raises NoMatplotlibError, OSError, ValueError."""
    figure = _figure()
    above, below = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (3, 1)})
    first, span = min(fit.points.times), fit.points.span
    times = [first + span * n / _STEPS for n in range(_STEPS + 1)]
    above.plot(fit.points.times, fit.points.values, "o", mfc="none", color="0.45", ms=4)
    above.plot(times, [fit.at(t) for t in times], "-", color="black", lw=1.5)
    above.set(ylabel=axes["y"], title=title)
    below.plot(fit.points.times, fit.residuals, "o", mfc="none", color="0.45", ms=3)
    below.axhline(0, color="black", lw=1)
    below.set(xlabel=f"time, {axes['x']}", ylabel="off by")
    figure.savefig(path, dpi=130)


def draw_decays(decays: Sequence[tuple[str, Decay]], path: Path) -> None:
    """Draw decays as rises on a ratio scale, where they are lines; raises as `draw`."""
    figure = _figure()
    axes = figure.subplots()
    for (name, one), (mark, line) in zip(decays, cycle(_STYLES), strict=False):
        times = [60 * t for t in one.fit.points.times]
        rises = [value - one.background for value in one.fit.points.values]
        axes.plot(times, rises, mark, mfc="none", color="0.45", ms=4)
        curve = [one.fit.at(t) - one.background for t in one.fit.points.times]
        axes.plot(times, curve, line, color="black", lw=1.5, label=f"{name}: {one.rate:.2f} /h")
    axes.set(yscale="log", xlabel="time, min", ylabel="above the background")
    axes.legend()
    figure.savefig(path, dpi=130)


def _figure() -> Any:
    try:
        from matplotlib.figure import Figure
    except ImportError as error:
        raise NoMatplotlibError(
            "Pictures need the analysis extra: pip install 'ventwright[analysis]'; "
            "all figures are told without it."
        ) from error
    return Figure(figsize=(7, 5), layout="constrained")
