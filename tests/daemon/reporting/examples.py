"""A test print and a comparison, made up by formulas, to be drawn and told."""

from math import exp

from aired import MIDNIGHT, MINUTE
from ventwright.trials.figures import (
    Above,
    Comparison,
    Condition,
    Contrast,
    Elsewhere,
    Figure,
    Need,
    Phase,
    Point,
    Print,
    RatePoint,
    Repeat,
)

BEGINS = MIDNIGHT + 9 * 60 * MINUTE


def level(minute: int) -> float:
    """Give the level at a minute: 30 min background, 120 min print, 90 min decay."""
    if minute < 30:
        return 4 + 0.3 * (minute % 3)
    if minute < 150:
        return 4 + 45 * (1 - exp(-(minute - 30) / 40)) + 0.8 * (minute % 5)
    return 4 + level(149) * exp(-(minute - 150) / 40)


def made(name: str = "pla-closed-1", channel: str = "bench.pm2_5") -> Print:
    curve = tuple(
        Point(BEGINS + n * MINUTE, MINUTE, None if 60 <= n < 66 else level(n), 4.2 + n / 300)
        for n in range(240)
    )
    rates = tuple(
        RatePoint(BEGINS + n * MINUTE, 5 * MINUTE, rate, rate - 220, rate + 220)
        for n in range(30, 240, 5)
        for rate in (2700.0 if n < 150 else 60.0 - n % 7 * 20,)
    )
    nothing = Figure(None, "µg", why="only one printer ran")
    return Print(
        name=name,
        labels={"material": "PLA", "enclosure": "closed"},
        channel=channel,
        title="PM2.5",
        unit="µg/m³",
        model="pms5003",
        optical=True,
        room="workshop <b>",
        volume=45.0,
        phases=(
            Phase("background", BEGINS, BEGINS + 30 * MINUTE),
            Phase("print", BEGINS + 30 * MINUTE, BEGINS + 150 * MINUTE),
            Phase("decay", BEGINS + 150 * MINUTE, BEGINS + 240 * MINUTE),
        ),
        curve=curve,
        coverage=0.97,
        floor=1.4,
        start=Figure(4.3, "µg/m³", 4.0, 4.6),
        rise=Figure(44.8, "µg/m³", 42.1, 47.5),
        mean_rise=Figure(31.0, "µg/m³", 29.2, 32.8),
        loss_rate=Figure(1.5, "1/h", 1.36, 1.64, why="its own decay"),
        fit={"r2": 0.994, "points": 90.0},
        rates=rates,
        rate_unit="µg/h",
        amount_unit="µg",
        total=Figure(5400.0, "µg", 4700.0, 6200.0),
        per_gram=Figure(135.0, "µg/g", 118.0, 155.0),
        per_hour=Figure(2700.0, "µg/h", 2350.0, 3100.0),
        per_printer=nothing,
        grams=40.0,
        above=(
            Above(
                "who-pm2_5-24h",
                "WHO 2021 guideline: 15 µg/m³ over 24 h",
                15.0,
                "24 h",
                None,
                None,
            ),
        ),
        elsewhere=Elsewhere(
            189.0, 2.8, Figure(5.1, "µg/m³", 4.4, 5.9), Figure(None, "µg/m³", below=1.4)
        ),
        cautions=("The decay was short: the loss rate leans on it.",),
    )


def condition(name: str, values: list[float], low: float, high: float) -> Condition:
    middle = 1.0
    for value in values:
        middle *= value ** (1 / len(values))
    repeats = tuple(Repeat(f"{name}-{n}", value, order=n) for n, value in enumerate(values))
    return Condition(name, repeats, Figure(middle, "µg/g", low, high), 1.4)


def compared(figure: str = "per_gram", unit: str = "µg/g") -> Comparison:
    same = "no difference that these six prints could show; a factor of 1.6 would have shown"
    return Comparison(
        figure=figure,
        title="emitted per gram, PM2.5",
        unit=unit,
        log=True,
        by=("material", "enclosure"),
        conditions=(
            condition("PLA, closed", [110, 135, 168], 85, 210),
            condition("PLA, open", [150, 128, 190], 98, 240),
            condition("ABS, closed", [900, 1500, 1240], 700, 2050),
            Condition("ASA, open", (), Figure(None, unit, why="no print yet"), None),
        ),
        contrasts=(
            Contrast(
                one="ABS, closed",
                other="PLA, closed",
                ratio=Figure(8.8, "", 4.9, 15.8),
                t=7.1,
                df=3.6,
                p=0.0031,
                adjusted=0.0093,
                differs=True,
                shown=1.9,
                power={"1.5": 0.4},
                needs=(Need(1.5, 12), Need(1.1, None)),
                verdict="ABS, closed emits 8.8 times as much as PLA, closed (4.9 to 15.8).",
            ),
            Contrast(
                one="PLA, open",
                other="PLA, closed",
                ratio=Figure(1.13, "", 0.7, 1.8),
                t=0.6,
                df=3.9,
                p=0.58,
                adjusted=0.58,
                differs=False,
                shown=1.6,
                power={"1.5": 0.7},
                needs=(Need(1.5, 8),),
                verdict=f"PLA, open and PLA, closed: {same}.",
            ),
        ),
        method="holm",
        spread=1.4,
        spread_from="these prints",
        batches=("The prints of Tuesday stand higher than the others.",),
        left_out={"pla-open-4": "the print was interrupted"},
        verdicts=(
            "ABS, closed emits 8.8 times as much as PLA, closed (4.9 to 15.8).",
            f"PLA, open and PLA, closed: {same}.",
        ),
    )
