"""`ventwright repeats`: how many prints a comparison needs, or what some prints could show."""

import json
import math
from typing import Any

import click

from ventwright.commands.options import Finite, fail, json_option
from ventwright.contrasts.compare import LITERATURE
from ventwright.contrasts.numbers import finite
from ventwright.contrasts.power import (
    LIKELY,
    anova_power,
    repeats_for,
    t_power,
    welch_power,
    whole_repeats,
)

Told = dict[str, Any]

_LEAST, _MOST = 1e-4, 1e4


def _ratio(_: Any, __: Any, value: float | None) -> float | None:
    if value is not None and value <= 1:
        raise click.BadParameter(f"{value:g} is no ratio above 1, such as 1.5")
    return value


@click.command()
@click.option("--ratio", type=Finite(max=1e6), callback=_ratio, help="The ratio to be shown.")
@click.option(
    "--gsd",
    type=Finite(max=1000),
    callback=_ratio,
    help=f"Geometric spread between repeats; {LITERATURE:g} unless given (literature: 1.4 to 1.7).",
)
@click.option("--difference", type=Finite(), help="Instead of --ratio: a difference of two means.")
@click.option("--spread", type=Finite(), help="With --difference: the standard deviation.")
@click.option("--between", type=Finite(), help="Several conditions: the variance of their means,")
@click.option("--within", type=Finite(), help="the variance within a condition,")
@click.option("--conditions", type=click.IntRange(2, 100), help="and how many conditions.")
@click.option("--prints", type=Finite(2, 1000), help="Tell the power of so many of each.")
@click.option(
    "--power",
    type=Finite(0.01, 0.999),
    default=LIKELY,
    show_default=True,
    help="How likely it shall be shown.",
)
@click.option(
    "--false",
    "alpha",
    type=Finite(0.0001, 0.5),
    default=0.05,
    show_default=True,
    help="How often a difference may be seen where there is none.",
)
@click.option("--one-sided", is_flag=True, help="Only one direction counts.")
@json_option
def repeats(as_json: bool, **asked: Any) -> None:
    """Tell how many prints of each condition it takes to show a ratio.

    Prints of one condition differ among themselves; only repeats tell by how much. Without
    --gsd the spread is the literature's.
    """
    found = finite(_several(asked) if asked["between"] is not None else _two(asked))
    if as_json:
        click.echo(json.dumps(found, ensure_ascii=False, indent=2))
        return
    click.echo(_said(found))


def _distance(asked: Told) -> tuple[float, str]:
    """Give the difference over the spread, and its words."""
    if asked["difference"] is not None:
        if not asked["spread"] or asked["spread"] <= 0 or not asked["difference"]:
            fail("--difference needs --spread, the standard deviation, both other than 0")
        what = f"a difference of {asked['difference']:g} at a spread of {asked['spread']:g}"
        return abs(asked["difference"]) / asked["spread"], what
    if asked["ratio"] is None:
        fail("what is to be shown? give --ratio, or --difference and --spread")
    gsd = asked["gsd"] or LITERATURE
    what = f"a factor of {asked['ratio']:g} where repeats spread by a factor of {gsd:g}"
    return math.log(asked["ratio"]) / math.log(gsd), what


def _reachable(share: float, of: str) -> None:
    """End with a sentence where no number of prints is an answer."""
    if not _LEAST <= share <= _MOST:
        fail(f"{share:.3g} times {of} is out of range: {_LEAST:g} to {_MOST:g} is possible")


def _two(asked: Told) -> Told:
    d, what = _distance(asked)
    _reachable(d, "the spread")
    alpha, one_sided, goal = asked["alpha"], asked["one_sided"], asked["power"]
    found: Told = {"what": what, "difference over spread": d, "of": "each condition"}
    if asked["prints"] is not None:
        n = asked["prints"]
        found |= {"prints": n, "power": t_power(d, n, None, alpha, one_sided)}
        if n == int(n) and not one_sided:
            found["power by Welch's test"] = welch_power(d, int(n), None, alpha)
        return found
    exact = repeats_for(lambda n: t_power(d, n, None, alpha, one_sided), goal)
    found |= {"goal": goal, "exact": exact, "prints": math.ceil(exact - 1e-9)}
    if not one_sided:
        found["prints by Welch's test"] = whole_repeats(
            lambda n: welch_power(d, n, None, alpha), goal
        )
    return found


def _several(asked: Told) -> Told:
    between, within, groups = asked["between"], asked["within"], asked["conditions"]
    if not within or within <= 0 or between <= 0 or groups is None:
        fail("--between needs --within and --conditions, and variances above 0")
    _reachable(between / within, "the variance within")
    alpha, goal = asked["alpha"], asked["power"]
    found: Told = {
        "what": f"a variance of {between:g} between {groups} conditions, {within:g} within",
        "of": "each condition",
    }
    if asked["prints"] is not None:
        n = asked["prints"]
        return found | {"prints": n, "power": anova_power(between, within, groups, n, alpha)}
    exact = repeats_for(lambda n: anova_power(between, within, groups, n, alpha), goal)
    return found | {"goal": goal, "exact": exact, "prints": math.ceil(exact - 1e-9)}


def _said(found: Told) -> str:
    if "power" in found:
        power = float(found.get("power by Welch's test") or found["power"])
        return (
            f"{found['prints']:g} prints of {found['of']} would show {found['what']} "
            f"with a chance of {100 * power:.0f} %."
        )
    n = found.get("prints by Welch's test", found["prints"])
    if n is None:
        return f"More than a thousand prints would be needed to show {found['what']}."
    return (
        f"{n} prints of {found['of']} show {found['what']} with a chance of "
        f"{100 * found['goal']:g} %."
    )
