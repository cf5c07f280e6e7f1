"""Figures of a print in simulated rooms: right within their intervals, floors, gaps, extraction."""

import math
from dataclasses import replace

import numpy as np
import pytest

from trialling.long import one_print, share
from trialling.otherwise import CASES, held
from trialling.prints import Job, Part, Room, analysed, series
from ventwright.trials.background import fit_background
from ventwright.trials.balance import Rate, balance
from ventwright.trials.series import Minute, Series, Span

EXACT = Part(lag_s=0.5, share=0.0, floor=0.0, step=0.0001)


def made(job: Job, room: Room | None = None, part: Part = EXACT, seed: int = 1) -> Series:
    return series(room or Room(), job, part, np.random.default_rng(seed))


def test_without_noise_the_emission_is_recovered() -> None:
    job = Job(3000.0)
    print_ = analysed(made(job), job, 45.0)
    assert print_.total.value == pytest.approx(3000, rel=2e-3)
    assert print_.per_gram.value == pytest.approx(150, rel=2e-3)
    assert print_.per_hour.value == pytest.approx(3000, rel=2e-3)
    assert print_.loss_rate.value == pytest.approx(0.9, rel=2e-3)
    assert print_.total.unit == "µg"
    assert (print_.per_gram.unit, print_.rate_unit) == ("µg/g", "µg/h")


def test_a_part_that_only_lags_changes_nothing() -> None:
    """The balance ends in a decay that the part lags behind: late readings keep their sum."""
    job = Job(3000.0)
    for lag in (5.0, 20.0, 40.0):
        found = analysed(made(job, part=replace(EXACT, lag_s=lag)), job, 45.0)
        assert found.total.value == pytest.approx(3000, rel=4e-3)


def test_rates_over_time_add_up_to_the_total_and_keep_what_is_negative() -> None:
    job = Job(3000.0, lead=1.0)
    found = analysed(made(job, part=Part()), job, 45.0)
    summed = math.fsum(p.rate * p.length for p in found.rates) / 3_600_000
    assert summed == pytest.approx(found.total.value, rel=0.08)
    assert any(p.rate < 0 for p in found.rates)
    assert all(p.low < p.rate < p.high for p in found.rates)


def test_rise_is_the_largest_five_minutes_less_start_and_course_of_the_background() -> None:
    job = Job(3000.0, burst=0.0, lead=2.0)
    found = analysed(made(job), job, 45.0)
    steady = 3000 / (56 / 60) / 45 / 0.9 * (1 - math.exp(-0.9 * 56 / 60))
    assert found.rise.value == pytest.approx(steady, rel=0.06)
    assert found.start.value == pytest.approx(4 + 2 * math.exp(-0.9 / 3), abs=0.3)
    assert 0 < found.mean_rise.value < found.rise.value


def test_what_the_background_does_meanwhile_is_no_rise() -> None:
    job = Job(300.0, burst=0.0, lead=2.0)
    without = analysed(made(replace(job, lead=0.0)), job, 45.0)
    found = analysed(made(job), job, 45.0)
    assert found.rise.value == pytest.approx(without.rise.value, abs=0.15)
    assert found.mean_rise.value == pytest.approx(without.mean_rise.value, abs=0.15)


def test_in_a_room_like_its_own_a_print_rises_as_it_did_and_in_half_of_it_twice() -> None:
    job = Job(3000.0)
    same = analysed(made(job), job, 45.0, other_room=(45.0, 0.9))
    half = analysed(made(job), job, 45.0, other_room=(22.5, 0.9))
    aired = analysed(made(job), job, 45.0, other_room=(45.0, 9.0))
    assert same.elsewhere
    assert half.elsewhere
    assert aired.elsewhere
    assert same.elsewhere.peak.value == pytest.approx(same.rise.value, rel=0.05)
    assert same.elsewhere.mean.value == pytest.approx(same.mean_rise.value, rel=0.08)
    assert half.elsewhere.peak.value == pytest.approx(2 * (same.elsewhere.peak.value or 0))
    assert (aired.elsewhere.peak.value or 0) < 0.6 * (same.elsewhere.peak.value or 0)


def test_short_form_of_the_long_one() -> None:
    """40 drawn rooms, parts and prints; the long form is `cd tests && python -m trialling`."""
    held = [one_print(seed) for seed in range(5000, 5040)]
    for name in ("total", "per_gram"):
        found, of = share(getattr(h, name) for h in held)
        assert of == 40
        assert found >= 0.9


@pytest.mark.parametrize("name", list(CASES)[1:8:2])
def test_intervals_hold_where_rooms_and_people_do_not_keep_to_it(name: str) -> None:
    """Another generator; the long form is `cd tests && python -m trialling.otherwise`.

    Of 150 each it held 94 to 98 %, but for a source that fades in 6 min 93 %, in 12 min 72 %, for
    a background that drifts by 1.5 µg/m³ an hour 88 %, for twice the volume error stated 83 %.
    """
    assert held(CASES[name], 15, 9000) >= 0.8


def test_a_print_that_emits_nothing_is_below_and_not_zero() -> None:
    job = Job(1e-6)
    rate = {False: Rate(0.9, 0.05, 0.1, "commissioning")}
    found = analysed(made(job, part=Part()), job, 45.0, known=rate)
    assert found.rise.below is not None
    assert found.rise.below >= found.floor > 0
    assert found.total.below is not None
    assert found.per_gram.below == pytest.approx(found.total.below / 20)
    assert not found.per_gram.known


def test_a_part_that_tells_whole_steps_has_half_a_step_for_a_floor() -> None:
    still = Part(share=0.0, floor=0.0, step=1.0)
    job = Job(1e-6)
    found = analysed(made(job, part=still), job, 45.0, last=None)
    assert found.floor == 0.5
    assert found.total.value is None
    assert "loss rate" in found.total.why


def test_without_a_decay_that_tells_the_rate_it_says_why_and_how_to_go_on() -> None:
    job = Job(3000.0, decay=10)
    found = analysed(made(job, part=Part()), job, 45.0, last=None)
    assert found.total.value is None
    assert found.per_gram.value is None
    assert "--loss-rate" in found.total.why
    assert found.rise.known


def test_the_last_resort_is_the_rate_of_homes_with_its_wide_interval() -> None:
    job = Job(3000.0, decay=10)
    found = analysed(made(job, part=Part()), job, 45.0)
    assert "74 homes" in found.loss_rate.why
    assert found.total.low < 3000 < found.total.high
    assert found.total.high - found.total.value > 3 * (found.total.value - found.total.low)
    assert any("homes at large" in text for text in found.cautions)


def test_a_loss_rate_from_elsewhere_stands_in_with_its_error() -> None:
    job = Job(3000.0, decay=10)
    seen = made(job, part=Part())
    sharp = analysed(seen, job, 45.0, known={False: Rate(0.9, 0.01, 0.02, "given by hand")})
    vague = analysed(seen, job, 45.0, known={False: Rate(0.9, 0.2, 0.4, "given by hand")})
    assert sharp.total.value == pytest.approx(3000, rel=0.05)
    assert sharp.loss_rate.why == "given by hand"
    assert vague.total.standard > 2 * sharp.total.standard


def test_the_volume_error_is_in_the_interval() -> None:
    job = Job(3000.0)
    sure = analysed(made(job), job, 45.0, volume_error=0.0)
    unsure = analysed(made(job), job, 45.0, volume_error=0.1)
    assert unsure.total.standard == pytest.approx(300, rel=0.1)
    assert sure.total.standard < 30


def test_two_printers_together_so_each_is_half() -> None:
    """Common practice, no source."""
    one, two = Job(3000.0), Job(6000.0, printers=2, grams=40)
    alone = analysed(made(one), one, 45.0)
    both = analysed(made(two), two, 45.0)
    assert both.per_printer.value == pytest.approx(both.total.value / 2)
    assert both.per_printer.value == pytest.approx(alone.per_printer.value, rel=1e-3)
    assert both.per_gram.value == pytest.approx(alone.per_gram.value, rel=1e-3)


def test_a_label_that_is_no_number_costs_its_figure_only_and_is_told() -> None:
    job = Job(3000.0)
    found = analysed(made(job), job, 45.0, grams="a spool")
    assert found.per_gram.value is None
    assert 'grams="a spool" is no number' in found.cautions[0]
    assert found.total.known


def extracting(found: Series, begins: float, ends: float) -> Series:
    """Say that the extractor ran between two hours."""
    minutes = [
        m._replace(extracting=begins <= m.middle < ends) if isinstance(m, Minute) else m
        for m in found.minutes
    ]
    return replace(found, minutes=minutes)


def test_where_the_extractor_ran_its_own_rate_is_needed_and_used() -> None:
    """A print half under extraction, by the closed form: 0.9 /h, then 5 /h from the middle on."""
    job = Job(3000.0, burst=0.0)
    slow, fast = Room(), Room(loss_rate=5.0)
    minutes, level = [], 0.0
    for n in range(140):
        on = 50 <= n < 80
        room = fast if on else slow
        rate = 3000 / (56 / 60) if 24 <= n < 80 else 0.0
        steady, kept = rate / 45 / room.loss_rate, math.exp(-room.loss_rate / 60)
        mean = steady + (level - steady) * (1 - kept) * 60 / room.loss_rate
        level = steady + (level - steady) * kept
        minutes.append(Minute(n / 60, (n + 1) / 60, 4 + mean, on))
    found = Series(minutes, Span(0, 1 / 3), Span(1 / 3, 4 / 3), Span(4 / 3, 7 / 3), 0.0)
    with pytest.raises(ValueError, match="the extractor ran"):
        balance(found, 2.0, {})
    known = {True: Rate(5.0, 0.1, 0.2, "commissioning")}
    assert 45 * balance(found, 2.0, known).emitted == pytest.approx(3000, rel=5e-3)
    told = analysed(found, job, 45.0, known=known)
    assert any("extractor ran during the print" in text for text in told.cautions)


def test_gaps_are_bridged_and_counted() -> None:
    job = Job(3000.0)
    whole = made(job)
    holed = replace(whole, minutes=[m for n, m in enumerate(whole.minutes) if not 50 <= n < 56])
    assert holed.coverage(holed.print) == pytest.approx(0.9)
    found = analysed(holed, job, 45.0)
    assert found.total.value == pytest.approx(3000, rel=0.03)
    assert sum(point.mean is None for point in found.curve) == 6
    assert len(found.curve) == 140


def test_limits_are_counted_by_minutes_and_by_their_own_averaging_time() -> None:
    job = Job(30_000.0)
    found = analysed(made(job), job, 45.0)
    over = {a.key: a for a in found.above}
    day = over["who-pm2_5-24h"]
    assert day.minutes > 60
    assert day.highest is None
    assert [a.value for a in found.above] == sorted(a.value for a in found.above)


def test_a_part_whose_steps_hide_the_noise_leaves_the_level_unsure_by_them() -> None:
    """A uniform error of one step has a standard deviation of step/√12."""
    minutes = [Minute(n / 60, (n + 1) / 60, 3.0) for n in range(20)]
    assert fit_background(minutes, 0.0, 0.9, 2.0, 1.0).level_error >= 1 / math.sqrt(12)
    assert fit_background(minutes, 0.0, 0.9, 0.0, 0.0).level_error < 1e-3
