"""`ventwright trial guide`: one test print, phase by phase, at this terminal."""

import select
import signal
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from ventwright.commands.options import Duration, Finite, config_option, fail, settings_or_exit
from ventwright.commands.trial_options import (
    all_labels,
    channel_option,
    chosen_channel,
    grams_option,
    label_option,
    printers_option,
    read_store,
)
from ventwright.control.client import NotRunningError, ask
from ventwright.rehearsal.words import paragraph
from ventwright.settings.model import Settings
from ventwright.trials.guide import Guide, GuideError, Plan
from ventwright.trials.marking import read_trials


class _Terminal:
    """The person at the printer, on this terminal."""

    def say(self, text: str) -> None:
        """Print it."""
        click.echo(paragraph(text))

    def now(self) -> float:
        """Read the monotonic clock."""
        return time.monotonic()

    def wait(self, seconds: float) -> bool:
        """Wait for Enter; an ended input is waited out."""
        ready = select.select([sys.stdin], [], [], seconds)[0]
        if ready and sys.stdin.readline():
            return True
        if ready:
            time.sleep(seconds)
        return False


@contextmanager
def _ended_gently() -> Iterator[None]:
    """Take an end from outside, or a terminal that is closed, for Ctrl-C: release, then end."""
    ends = (signal.SIGTERM, signal.SIGHUP)
    before = [signal.signal(end, signal.default_int_handler) for end in ends]
    try:
        yield
    finally:
        for end, handler in zip(ends, before, strict=True):
            signal.signal(end, handler)


@click.command()
@click.argument("name")
@label_option
@grams_option
@printers_option
@channel_option
@click.option(
    "--ceiling",
    type=Finite(min=0, min_open=True),
    required=True,
    help="Above this one-minute mean extraction is no longer held off, and the trial ends.",
)
@click.option(
    "--within",
    type=Finite(min=0, min_open=True),
    default=2.0,
    show_default=True,
    help="How near its baseline the air has to be before it begins, the channel's unit.",
)
@click.option("--flush-for", type=Duration(), default="45 min", show_default=True)
@click.option("--background-for", type=Duration(), default="20 min", show_default=True)
@click.option("--decay-for", type=Duration(), default="60 min", show_default=True)
@click.option("--resume", is_flag=True, help="Go on with an interrupted trial where it was.")
@config_option
def guide(
    name: str,
    labels: Sequence[Mapping[str, str]],
    grams: float | None,
    printers: int | None,
    channel: str | None,
    ceiling: float,
    within: float,
    flush_for: int,
    background_for: int,
    decay_for: int,
    resume: bool,
    config: Path,
) -> None:
    """Guide the test print NAME: flush, background, print, decay.

    The extractor is held off meanwhile, so nobody stays in the room; at the ceiling it decides by
    itself again, whatever you are doing. This is no alarm: certified smoke and CO alarms stay.
    """
    settings = settings_or_exit(config)
    start = _start(settings, name, resume)
    plan = Plan(
        name,
        chosen_channel(settings, name, channel),
        ceiling,
        all_labels(labels, grams, printers),
        within,
        flush_for,
        background_for,
        decay_for,
        start=start,
    )

    def asking(verb: str, **words: Any) -> dict[str, Any]:
        return ask(settings.socket, verb, **words)

    try:
        with _ended_gently():
            Guide(plan, asking, _Terminal()).run()
    except (GuideError, NotRunningError) as error:
        fail(f"{name}: {error}")
    except KeyboardInterrupt:
        fail(
            f"{name} was interrupted and the extractor released. `ventwright trial guide {name} "
            f"--resume ...` goes on, `ventwright trial discard {name}` gives it up; until then it "
            "is not used"
        )


def _start(settings: Settings, name: str, resume: bool) -> str:
    """Tell with which phase to begin; ends with a sentence where that cannot be."""
    there = read_store(settings, read_trials).get(name)
    if there is None or there.discarded:
        if resume:
            fail(f'there is no open trial "{name}" to resume')
        return "flush"
    if there.state == "whole":
        fail(f'"{name}" is a whole trial already: name this one otherwise, such as "{name}-2"')
    if not resume:
        fail(
            f'"{name}" was interrupted in its {there.phase} phase: go on with --resume, or give it '
            f"up with `ventwright trial discard {name}`"
        )
    return there.phase if there.phase in ("print", "decay") else "flush"
