"""A comparison as plain JSON, unrounded, with every classic result of the groups beside it."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from ventwright.contrasts.anova import likely_components, one_way, welch_one_way
from ventwright.contrasts.sample import Sample, grouped, scaled
from ventwright.contrasts.welch import Test, Value, centred, mean, paired, pooled, variance, welch
from ventwright.trials.figures import Comparison

Told = dict[str, Any]


def told(comparison: Comparison, samples: Sequence[Sample]) -> Told:
    """Give all of it; numbers under "tests" are on the scale of the comparison."""
    log, confidence = comparison.log, comparison.confidence
    held = grouped(samples)
    groups = {name: [scaled(s, log) for s in found] for name, found in held.items()}
    pairs = [(c.one, c.other) for c in comparison.contrasts]
    tests = {
        "scale": "natural logarithm" if log else "linear",
        "groups": {name: _group(values) for name, values in groups.items()},
        "pairs": [_pair(held, groups, pair, confidence) for pair in pairs],
        "one-way": _one_way(list(groups.values())),
        "welch one-way": _named(welch_one_way(list(groups.values()))),
        "components": _components(list(groups.values())),
    }
    whole: Told = finite({**asdict(comparison), "tests": tests})
    return whole


def finite(value: Any) -> Any:
    """Replace what JSON cannot hold (infinite, not a number) by null."""
    if isinstance(value, dict):
        return {key: finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [finite(inner) for inner in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _named(found: Any) -> Told | None:
    return None if found is None else found._asdict()


def _group(values: Sequence[Value]) -> Told:
    base, (rest,) = centred([values])
    spread = math.sqrt(variance(rest)) if len(rest) > 1 else None
    return {"n": len(rest), "mean": base + mean(rest), "sd": spread}


def _pair(
    held: Mapping[str, Sequence[Sample]],
    groups: Mapping[str, Sequence[Value]],
    pair: tuple[str, str],
    confidence: float,
) -> Told:
    one, other = (groups[name] for name in pair)
    return {
        "one": pair[0],
        "other": pair[1],
        "welch": _tested(welch(one, other), confidence),
        "student": _tested(pooled(one, other), confidence),
        "paired by batch": _by_batch(held, groups, pair, confidence),
    }


def _tested(test: Test, confidence: float) -> Told:
    low, high = test.interval(confidence) or (None, None)
    return {**test._asdict(), "low": low, "high": high}


def _by_batch(
    held: Mapping[str, Sequence[Sample]],
    groups: Mapping[str, Sequence[Value]],
    pair: tuple[str, str],
    confidence: float,
) -> Told | None:
    """Pair the repeats where each batch holds exactly one of either condition."""
    sides = []
    for name in pair:
        batches = [tuple(sample.batches.items()) for sample in held[name]]
        sides.append(dict(zip(batches, groups[name], strict=True)))
        if len(sides[-1]) < len(batches) or () in sides[-1]:
            return None
    one, other = sides
    if one.keys() != other.keys():
        return None
    return _tested(paired(list(one.values()), [other[batch] for batch in one]), confidence)


def _one_way(groups: Sequence[Sequence[Value]]) -> Told | None:
    found = one_way(groups)
    if found is None:
        return None
    return {**asdict(found), "s": math.sqrt(found.within)}


def _components(groups: Sequence[Sequence[Value]]) -> Told | None:
    """Give the variances between and within the groups by both ways, and their ratio."""
    found, likely = one_way(groups), likely_components(groups)
    if found is None or likely is None:
        return None
    return {
        "mean squares": _split(found.between, found.within),
        "restricted likelihood": {**_split(likely.between, likely.within), "mean": likely.mean},
    }


def _split(between: float, within: float) -> Told:
    return {
        "between": between,
        "within": within,
        "sd between": math.sqrt(between),
        "sd within": math.sqrt(within),
        "share between": between / (between + within),
    }
