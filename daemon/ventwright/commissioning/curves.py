"""Analyses a file of times and concentrations: which curve, how fast, how sure, what flow.

Told as plain JSON; saying.py makes words of it. It must not know a store or a keeper.
Times stay in the unit of the file; rates are told per hour as well.
"""

from dataclasses import replace
from datetime import datetime
from math import hypot, isfinite
from typing import Any, NamedTuple

from ventwright.commissioning.columns import Columns
from ventwright.mixing.curve import Fit, FitError, Points
from ventwright.mixing.decay import PLAIN, against, leaning, weighted
from ventwright.mixing.doubt import Doubt, doubt
from ventwright.mixing.fitting import fit
from ventwright.mixing.levels import error_level, parallel, peak, time_left
from ventwright.mixing.shapes import SHAPES
from ventwright.standards.distributions import t_quantile

_SHAPES = SHAPES | {"parallel": replace(SHAPES["two-decays"], name="parallel")}
MODELS = tuple(_SHAPES)
HOURS = {"s": 1 / 3600, "min": 1 / 60, "h": 1.0, "d": 24.0}
VOLUMES = {"m3": 1.0, "ft3": 0.3048**3, "L": 0.001}

_VAGUE = 0.5
_SPARE = 3
_OF_ROOMS = ("decay", "build-up")
"""The models with one rate, that of a room's losses."""
_LESS = {
    "two-decays": "decay", "parallel": "decay", "three-decays": "two-decays", "slowing": "decay",
}  # fmt: skip
"""The models with fewer terms."""
_SURE, _NOTABLE = 0.999, 0.1
"""The confidence, and the share of the rate, beyond which another background matters."""
_FROM_NOUGHT = ("build-up", "rise-and-fall", "slowing")
"""The models of something that begins at time 0."""


class Asked(NamedTuple):
    """What to do with a file."""

    model: str = "decay"
    background: float | None = 0.0
    """None: to be fitted."""
    background_error: float = 0.0
    noise: str = "even"
    time_unit: str = "h"
    unit: str = ""
    volume: float | None = None
    """m³"""
    natural: float | None = None
    """Loss rate without the device, 1/h."""


class Analysis(NamedTuple):
    """A file and the curve that was found in it."""

    columns: Columns
    asked: Asked
    fit: Fit
    doubt: Doubt
    values: dict[str, tuple[float, float, str]]
    """Parameters: value, standard error and unit, as the model names them."""
    against: tuple[str, ...]


def analyse(columns: Columns, asked: Asked) -> Analysis:
    """Fit what was asked for; raises FitError, a sentence, where it cannot be fitted.

    Numbers beyond all measure can end in other ValueErrors or ArithmeticErrors, here and in `told`.
    """
    asked = asked._replace(time_unit="h") if columns.dates else asked
    shape = _SHAPES[asked.model]
    if columns.times[0] < 0 and shape.name in _FROM_NOUGHT:
        first = f"{columns.times[0]:g}"
        raise FitError(f"{shape.name} begins at time 0, and the first time of these is {first}")
    points = Points(columns.times, columns.values, [1.0] * len(columns.values))
    if asked.noise == "level":
        found = weighted(shape, points, asked.background)
    else:
        found = fit(shape, points, asked.background)
    said = _against(found, asked)
    return Analysis(columns, asked, found, doubt(found), _values(found, asked), tuple(said))


def _values(found: Fit, asked: Asked) -> dict[str, tuple[float, float, str]]:
    per, unit = f"1/{asked.time_unit}", asked.unit
    if asked.model == "parallel":
        told = parallel(found)
        named = {"C0": (*told.start, unit), "g": (*told.share, ""), "k1": (*told.fast, per),
                 "k2": (*told.slow, per)}  # fmt: skip
        if found.free:
            named["background"] = (found.background, found.error("background"), unit)
        return named
    units = {"alpha": "", "beta": asked.time_unit, "background": unit}
    return {
        name: (value, found.error(name), units.get(name, unit if name[0] == "a" else per))
        for name, value in found.parameters.items()
    }


def _against(found: Fit, asked: Asked) -> list[str]:
    if found.freedom < _SPARE:
        return [f"{len(found.residuals)} points leave too little to check {found.shape.name} with"]
    if found.shape.name == "decay":
        hours = HOURS[asked.time_unit]
        said = against(found, asked.background_error, hours, fewest=len(found.names) + _SPARE)
    else:
        said = _unclear(found, _values(found, asked))
    if found.shape.name in _OF_ROOMS:
        said += _other_background(found, asked) + _no_device(found, asked)
    return said


def _other_background(found: Fit, asked: Asked) -> list[str]:
    """Say where another background than the given fits far better, and gives another rate."""
    if found.free:
        return []
    try:
        other = fit(found.shape, found.points, None)
    except FitError:
        return []
    apart = abs(other.background - found.background)
    sure = apart > t_quantile(_SURE, other.freedom) * hypot(
        other.error("background"), asked.background_error
    )
    if not sure or abs(other.rates[0] - found.rates[0]) < _NOTABLE * found.rates[0]:
        return []
    if found.shape.falls and other.background < found.background:
        return []  # it falls faster later: no background does that
    return [
        f"the background was given as {found.background:g}, but {other.background:.4g} fits far "
        "better, and gives another rate: give the right one, or --background free"
    ]


def _no_device(found: Fit, asked: Asked) -> list[str]:
    """Say where a device would take air away that it cannot: the loss is no larger than without."""
    if asked.natural is None:
        return []
    rate = found.rates[0] / HOURS[asked.time_unit]
    if rate > asked.natural:
        return []
    return [
        f"the losses together, {rate:.3g} /h, are not above the {asked.natural:g} /h without the "
        "device: it cleared nothing, or one of the two is wrong"
    ]


def _unclear(found: Fit, values: dict[str, tuple[float, float, str]]) -> list[str]:
    """Say what a curve of several terms does not determine, or what no room can do."""
    said = []
    if min(found.rates) <= 0:
        said.append("a rate is not above 0: the points do not follow this model")
    if len(found.amplitudes) > 1 and min(found.amplitudes) < 0:
        said.append("an amplitude is below 0: these are not decays side by side")
    vague = [
        f"{name} ({value:.3g} ± {error:.2g})"
        for name, (value, error, _) in values.items()
        if name != "background" and error > _VAGUE * abs(value)
    ]
    if vague:
        said.append(f"the points leave {', '.join(vague)} open: {_simpler(found)}")
    return said


def _simpler(found: Fit) -> str:
    """Say what would be told better by the same points."""
    less = _LESS.get(found.shape.name)
    if less is None:
        return "measure for longer, until the curve bends"
    try:
        other = fit(SHAPES[less], found.points, None if found.free else found.background)
    except FitError:
        return f"--model {less} may be enough"
    words = (
        "leaves no more over" if other.deviation < 1.05 * found.deviation else "leaves more over"
    )
    pair = f"{other.deviation:.3g} against {found.deviation:.3g}"
    return f"--model {less} {words} (residual standard deviation {pair})"


def _figure(value: float, error: float, half: float, unit: str) -> dict[str, Any]:
    """Tell a figure with its standard error and 95 % interval, where there is one."""
    told: dict[str, Any] = {"value": value, "unit": unit}
    if isfinite(error) and isfinite(half):
        told |= {"standard_error": error, "low": value - half, "high": value + half}
    return told


def told(found: Analysis) -> dict[str, Any]:
    """Tell all of it as JSON."""
    fitted, asked, t = found.fit, found.asked, t_quantile(0.95, found.fit.freedom)
    level = error_level(fitted)
    answer: dict[str, Any] = {
        "model": asked.model,
        "formula": formula(asked.model),
        "points": len(fitted.residuals),
        "gaps": found.columns.gaps,
        "degrees_of_freedom": fitted.freedom,
        "span": {"value": fitted.points.span, "unit": asked.time_unit},
        "time_zero": _zero(found.columns),
        "background": {"value": fitted.background, "fitted": fitted.free},
        "parameters": {
            name: _figure(value, error, t * error, unit)
            for name, (value, error, unit) in found.values.items()
        },
        "dt50": _time(found, 0.5),
        "dt90": _time(found, 0.1),
        "r2": fitted.r2,
        "rss": fitted.rss,
        "residual_standard_deviation": fitted.deviation if fitted.freedom > 0 else None,
        "chi2_error_percent": level,
        "residual_correlation": found.doubt.neighbours,
        "widened_by": found.doubt.widened,
        "concluded": not found.against,
        "against": list(found.against),
    }
    if isfinite(at := peak(fitted)):
        answer["peak_at"] = {"value": at, "unit": asked.time_unit}
    return answer | rates(found)


def _zero(columns: Columns) -> float | str:
    if not columns.dates:
        return columns.zero
    return datetime.fromtimestamp(columns.zero * 3600).isoformat()


def _time(found: Analysis, share: float) -> dict[str, Any] | None:
    value = time_left(found.fit, share)
    return {"value": value, "unit": found.asked.time_unit} if isfinite(value) else None


def formula(model: str) -> str:
    """Give a model's formula, the background in it."""
    own = "C0·(g·exp(-k1·t) + (1 - g)·exp(-k2·t))" if model == "parallel" else SHAPES[model].says
    return f"background + {own}"


def rates(found: Analysis) -> dict[str, Any]:
    """Tell the loss rate per hour, correlated noise and the background's error in it, and the flow.

    Empty where the model has no single rate.
    """
    if found.fit.shape.name not in _OF_ROOMS:
        return {}
    asked, scale = found.asked, 1 / HOURS[found.asked.time_unit]
    error = found.fit.error("k") * scale
    leans = leaning(found.fit, asked.background_error) * scale
    wide = hypot(error * found.doubt.widened, leans)
    half = hypot(found.doubt.half_width(error), PLAIN * leans)
    row = (found.fit.rates[0] * scale, wide, half)
    answer = {"loss_rate": _figure(*row, "1/h")}
    if asked.volume is not None:
        flow, error, half = (asked.volume * figure for figure in row)
        answer["clearance"] = _figure(flow, error, half, "m³/h")
        if asked.natural is not None:
            flow -= asked.volume * asked.natural
            answer["clean_air"] = _figure(flow, error, half, "m³/h")
    return answer
