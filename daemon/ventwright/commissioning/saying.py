"""Says an analysed file in words: what was fitted, how fast, how sure, and what it is worth.

Takes what curves.py and the store tell as JSON, so that both say the same; knows no rule.
"""

from typing import Any

from ventwright.commissioning.past import Past

Told = dict[str, Any]

_LEVELS = (("dt50", "half"), ("dt90", "nine tenths"))


def lines(name: str, told: Told) -> list[str]:
    """Say the analysis of a file that is called `name`, a line each."""
    span, per = told["span"], "fitted" if told["background"]["fitted"] else "given"
    gaps = f", {told['gaps']} times without a value left out" if told["gaps"] else ""
    said = [
        f"{name}: {told['points']} points over {span['value']:.4g} {span['unit']}{gaps}, "
        f"model {told['model']}",
        f"  {told['formula']}, background {told['background']['value']:.4g} ({per})",
        *_zero(told),
        *(_parameter(key, figure) for key, figure in told["parameters"].items()),
        *_times(told),
        f"  fit: {_goodness(told)}",
        *_room(told),
    ]
    if told["concluded"]:
        return said
    return [
        *said,
        "Nothing should be concluded from this:",
        *(f"  {why}" for why in told["against"]),
    ]


def _zero(told: Told) -> list[str]:
    """Say what times count from, where that is not the file's own 0."""
    zero = told["time_zero"]
    return [f"  t counts from {zero if isinstance(zero, str) else f'{zero:g}'}"] if zero else []


def _parameter(key: str, figure: Told) -> str:
    unit = f" {figure['unit']}" if figure["unit"] else ""
    if "low" not in figure:
        return f"  {key} = {figure['value']:.5g}{unit} (no point is left to tell its error by)"
    value, low, high = _apart(5, figure)
    return f"  {key} = {value} ± {figure['standard_error']:.2g}{unit} (95 %: {low} to {high})"


def _apart(digits: int, figure: Told) -> list[str]:
    """Give value, low and high to so many digits, or as many as tell them apart."""
    three = [figure[key] for key in ("value", "low", "high")]
    for more in range(digits, 13):
        said = [f"{value:.{more}g}" for value in three]
        if len(set(said)) == 3:
            return said
    return [f"{value:.{digits}g}" for value in three]


def _times(told: Told) -> list[str]:
    gone = "there" if told["model"] == "build-up" else "gone"
    said = [
        f"{words} {gone} after {told[key]['value']:.4g} {told[key]['unit']}"
        for key, words in _LEVELS
        if told[key]
    ]
    if "peak_at" in told:
        said.append(f"highest at {told['peak_at']['value']:.4g} {told['peak_at']['unit']}")
    return ["  " + ", ".join(said)] if said else []


def _goodness(told: Told) -> str:
    said = f"R² {told['r2']:.4f}"
    if told["chi2_error_percent"] is not None:
        said += f", chi-squared error level {told['chi2_error_percent']:.2g} %"
    if told["widened_by"] > 1:
        said += (
            f", neighbouring errors alike ({told['residual_correlation']:.2f}): the errors above "
            f"should be {told['widened_by']:.1f} times as large"
        )
        said += ", as they are below" if "loss_rate" in told else ""
    return said


_ROOM = (
    ("loss_rate", "losses together"),
    ("clearance", "clearance"),
    ("clean_air", "clean air delivered"),
)


def _room(told: Told) -> list[str]:
    return [f"  {words}: {figure(told[key])}" for key, words in _ROOM if key in told]


def figure(one: Told) -> str:
    """Say a figure with its 95 % interval: `5.02 1/h (95 %: 4.90 to 5.14)`."""
    unit = one["unit"].replace("1/h", "/h")
    if "low" not in one:
        return f"{_short(one['value'])} {unit}"
    value, low, high = (_short(one[key]) for key in ("value", "low", "high"))
    if low == high and one["low"] < one["high"]:
        value, low, high = _apart(3, one)
    return f"{value} {unit} (95 %: {low} to {high})"


def _short(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def past_lines(past: Past) -> list[str]:
    """Say what was looked at in the past, and what was left out."""
    looked, used = sum(past.looked.values()), sum(len(rates) for rates in past.rates.values())
    said = [f"Decays found in the record: {looked}; that count: {used}."]
    if past.left_out:
        why = ", ".join(f"{count} × {words}" for words, count in sorted(past.left_out.items()))
        said.append(f"Left out: {why}.")
    return said


def kept_lines(found: list[Told]) -> list[str]:
    """Say the commissionings that were kept before."""
    if not found:
        return ["Nothing was commissioned yet; to do so: ventwright commission"]
    return [line for one in found for line in _kept(one)]


def _kept(one: Told) -> list[str]:
    flow = one["volume"] * (one["clearance"] - one["natural"])
    return [
        f"{one['at'].replace('T', ' ')} {one['extractor']}, by {one['who']} ({one['method']}, "
        f"{one['channel']}, {one['volume']:g} m³)",
        f"  without it {one['natural']:.3g} ± {one['natural_error']:.2g} /h, with it "
        f"{one['clearance']:.3g} ± {one['clearance_error']:.2g} /h: {flow:.0f} m³/h of clean air",
    ]
