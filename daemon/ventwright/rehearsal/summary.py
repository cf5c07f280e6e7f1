"""What a rehearsal came to: figures for programs, sentences for people."""

from collections.abc import Iterator
from typing import Any, NamedTuple

from ventwright.rehearsal.narrator import Narrator
from ventwright.rehearsal.news import News, seconds_of
from ventwright.rehearsal.phone import Phone
from ventwright.rehearsal.scenario import Scenario
from ventwright.settings.durations import format_duration
from ventwright.storage.reader import StoredEvent
from ventwright.words import change, reason

Summary = dict[str, Any]

_DECISIONS = frozenset({"alarm", "extractor", "part", "relay"})

CAUTIONS = (
    "This was a simulation: amounts and room are invented, so learn from it how the daemon "
    "behaves, not how bad your air is. Ventwright is not a certified alarm and no medical device; "
    "certified smoke and CO alarms stay where they are. Low-cost optical sensors do not see "
    "ultrafine particles, which printers emit most of."
)


class Run(NamedTuple):
    """How it was run."""

    scenario: Scenario
    seed: int
    pace: float | None
    real: float
    """Real time that it took, s."""
    counts: dict[str, Any]
    """What the courier counted."""


def decision(event: StoredEvent) -> dict[str, Any]:
    """Write an event as a decision; `at` in s since the start."""
    return {
        "at": seconds_of(event.t),
        "kind": event.kind,
        "subject": event.subject,
        "change": change(event),
        "why": reason(event),
    }


def decisions(events: list[StoredEvent], end: int) -> list[dict[str, Any]]:
    """List what was decided before second `end`: the same for the same seed and scenario."""
    return [decision(e) for e in events if e.kind in _DECISIONS and seconds_of(e.t) < end]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)


def _pair(values: tuple[float | None, float | None]) -> dict[str, float | None]:
    return {"with_extraction": _rounded(values[0]), "without": _rounded(values[1])}


def _setpoint_level(scenario: Scenario) -> float:
    """Give the PM2.5 that the leading alarm's setpoint means, µg/m³, the quiet level known."""
    return scenario.quiet_level + scenario.setpoint


def summarise(run: Run, narrator: Narrator, news: News, phone: Phone) -> Summary:
    """Put the figures together; times in s, PM2.5 in µg/m³."""
    scenario, course = run.scenario, narrator.course
    played, end = len(course.held), scenario.dusty[1]
    recovered = course.recoveries(end, _setpoint_level(scenario)) if played > end else (None, None)
    return {
        "scenario": scenario.name,
        "seed": run.seed,
        "pace": run.pace,
        "simulated_s": played,
        "whole": played == scenario.duration,
        "real_s": round(run.real, 1),
        "decisions": decisions(narrator.events, played),
        "peak_pm2_5": _pair(course.peaks()),
        "worst_hour_pm2_5": _pair(course.worst_hours()),
        "detection_delay_s": _rounded(narrator.detection()),
        "extraction_s": course.extraction,
        "recovery_s": _pair(recovered),
        "readings": news.stored(),
        "pushed": run.counts.get("pushed", 0),
        "refused": run.counts.get("refused", 0),
        "not_pushed": run.counts.get("waiting", 0),
        "messages_due": narrator.owed,
        "messages": [message.title for message in phone.messages],
    }


def _time(seconds: float | None) -> str:
    return format_duration(round((seconds or 0) * 1000))


def _air(found: Summary) -> Iterator[str]:
    peak, hour, back = found["peak_pm2_5"], found["worst_hour_pm2_5"], found["recovery_s"]
    yield f"PM2.5 in the room reached {peak['with_extraction']:.0f} µg/m³"
    yield f"; without extraction it would have reached {peak['without']:.0f} µg/m³. "
    if hour["without"] is not None:
        yield f"The worst hour averaged {hour['with_extraction']:.0f} µg/m³"
        yield f", and would have averaged {hour['without']:.0f} µg/m³. "
    if found["detection_delay_s"] is not None:
        yield f"The alarm came {_time(found['detection_delay_s'])} after the first particles. "
    ran = f"ran for {_time(found['extraction_s'])}" if found["extraction_s"] else "did not run"
    yield f"The extractor {ran}. "
    if back["with_extraction"] is not None:
        yield f"After the print the air was below the setpoint in {_time(back['with_extraction'])}"
        late = "would not have been within the rehearsal"
        yield f"; without extraction it {late if back['without'] is None else 'would have taken '}"
        yield f"{'' if back['without'] is None else _time(back['without'])}."


def _books(found: Summary, with_database: bool) -> Iterator[str]:
    readings = sum(found["readings"].values())
    yield f"{readings:,} readings of {len(found['readings'])} channels are stored. "
    if with_database:
        yield f"{found['pushed']:,} samples were pushed, {found['refused']:,} refused"
        yield f", {found['not_pushed']:,} are waiting"
        yield " (courier.log says why). " if found["not_pushed"] else ". "
    yield f"The phone got {len(found['messages'])} of {found['messages_due']} messages."


def sentences(found: Summary, with_database: bool, out: str) -> list[str]:
    """Tell the summary in paragraphs."""
    how = "were simulated" if found["whole"] else "were simulated before it was stopped"
    head = f"{_time(found['simulated_s'])} {how} in {_time(found['real_s'])}. "
    after = (
        f"Next: read the configuration in {out}/ventwright.toml, write your own, then "
        "`ventwright check --config FILE` goes through it and the hardware, and "
        "`ventwright run --config FILE` watches your room."
    )
    if found["scenario"] == "test-prints":
        after = (
            f"Next: `ventwright compare --by material --config {out}/ventwright.toml` compares "
            f"them, `ventwright trial show abs-open-1 --config {out}/ventwright.toml` shows one "
            f"print; what each truly emitted stands in {out}/summary.json."
        )
    return [head + "".join(_air(found)), "".join(_books(found, with_database)), CAUTIONS, after]
