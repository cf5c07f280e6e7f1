"""`ventwright exposure`: what a person in the room took in."""

import json
import re
import sqlite3
import time
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any, NamedTuple

import click

from ventwright.averaging.courses import channels_of, courses
from ventwright.commands.options import (
    Finite,
    Moment,
    config_option,
    fail,
    json_option,
    settings_or_exit,
)
from ventwright.exposure.days import (
    begin_of,
    days_of,
    first_and_last,
    of_stays,
    told_days,
)
from ventwright.exposure.dose import DAY_HOURS, Piece
from ventwright.exposure.stay import stay_by_hand
from ventwright.exposure.telling import Person, Substance, mixture_told
from ventwright.exposure.words import lines
from ventwright.settings.hours import Hours, parse_hours
from ventwright.settings.model import PersonEntry, Settings
from ventwright.standards.breathing import ACTIVITIES, BISPHENOL_A, Intake
from ventwright.storage.reader import Reader
from ventwright_drivers.quantities import QUANTITIES

Told = dict[str, Any]

_SPENT = re.compile(r"(\d+(?:\.\d+)?) ?h at (\d+(?:\.\d+)?)", re.ASCII)
_SHARE = re.compile(r"(\d+(?:\.\d+)?) ?/ ?(\d+(?:\.\d+)?)", re.ASCII)
_BREATHED = ("pm1", "pm2_5", "pm4", "pm10", "hcho", "co")
_ANYBODY = "a person"
_ADULT_AGE = 35


class SpentParam(click.ParamType[Piece]):
    """Hours and a concentration, such as "2 h at 150"."""

    name = "hours"

    def convert(self, value: Any, param: Any, ctx: Any) -> Piece:
        """Read the text; fails with what is allowed."""
        match = _SPENT.fullmatch(str(value).strip())
        if match is None:
            self.fail(f'"{value}" is not as in "2 h at 150"', param, ctx)
        return float(match[2]), float(match[1])


class ShareParam(click.ParamType[Piece]):
    """A concentration over its limit, such as "45/200"."""

    name = "share"

    def convert(self, value: Any, param: Any, ctx: Any) -> Piece:
        """Read the text; fails with what is allowed."""
        match = _SHARE.fullmatch(str(value).strip())
        if match is None or float(match[2]) <= 0:
            self.fail(
                f'"{value}" is not as in "45/200", a concentration over its limit', param, ctx
            )
        return float(match[1]), float(match[2])


class HoursParam(click.ParamType[Hours]):
    """Hours of the week, such as "mon-fri 08:00-13:00"."""

    name = "hours"

    def convert(self, value: Any, param: Any, ctx: Any) -> Hours:
        """Read the text; fails with what is allowed."""
        try:
            return parse_hours(value)
        except ValueError as error:
            self.fail(f'"{value}": {error}', param, ctx)


class Chosen(NamedTuple):
    """What the command line says."""

    person: str | None
    hours: tuple[Hours, ...]
    age: int | None
    activity: str | None
    weight: float | None
    share: float | None
    acceptable: float | None
    substance: str

    def who(self, entry: PersonEntry | None) -> Person:
        """Give the person: options count above the configuration."""
        age = self.age if self.age is not None else entry.age if entry else _ADULT_AGE
        activity = self.activity or (entry.activity if entry else "light")
        weight = self.weight or (entry.weight if entry else None)
        return Person(self.person or _ANYBODY, age, activity, weight)

    def intake(self, person: Person) -> Substance | None:
        """Give the substance that was asked for; ends with a sentence if its weight is missing."""
        if self.share is None:
            return None
        if person.weight is None:
            fail("An intake is per kg of body weight: say --weight KG beside --share.")
        plain = BISPHENOL_A
        if self.acceptable is not None:
            plain = Intake(self.substance, self.acceptable, "as given", "yours")
        return Substance(plain, self.share)


@click.command()
@click.argument("person", required=False)
@click.option(
    "--hours", multiple=True, type=HoursParam(), help='In the room: "mon-fri 08:00-13:00".'
)
@click.option("--day", "at", type=Moment(), help="The day, or the last one: 2026-05-14. Today.")
@click.option("--days", type=click.IntRange(1, 366), default=1, show_default=True)
@click.option("--age", type=click.IntRange(0, 120), help=f"Years; {_ADULT_AGE} unless known.")
@click.option("--activity", type=click.Choice(ACTIVITIES), help="light unless known.")
@click.option("--weight", type=Finite(1, 500), help="Body weight, kg.")
@click.option("--share", type=Finite(0, 1), help="Of a substance in the particles' mass.")
@click.option("--acceptable", type=Finite(0, min_open=True), help="Its pg/kg a day.")
@click.option("--substance", default="the substance", help="Its name.")
@click.option("--spent", multiple=True, type=SpentParam(), help='By hand instead: "2 h at 150".')
@click.option("--quantity", type=click.Choice(_BREATHED), help="Of what, by hand.")
@click.option("--mixture", multiple=True, type=ShareParam(), help='Sum shares: "45/200".')
@config_option
@json_option
def exposure(
    hours: tuple[Hours, ...],
    at: int | None,
    days: int,
    spent: tuple[Piece, ...],
    quantity: str | None,
    mixture: tuple[Piece, ...],
    config: Path,
    as_json: bool,
    **chosen: Any,
) -> None:
    """Tell what PERSON in the room took in: means beside limits, mass breathed in, what is left.

    PERSON and hours are of [people.NAME] in the configuration, or given by options. With --spent
    concentrations are given by hand, in the unit of --quantity; no configuration is needed then.
    With --mixture shares of limits are summed, of substances that act alike. No medical advice.
    """
    if mixture:
        _mixture(mixture, as_json)
        return
    asked = Chosen(hours=hours, **chosen)
    if spent:
        told = _by_hand(asked, spent, quantity)
    else:
        told = _measured(asked, settings_or_exit(config), at, days)
    if as_json:
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
        return
    for line in lines(told):
        click.echo(line)


def _mixture(parts: Sequence[Piece], as_json: bool) -> None:
    told = mixture_told(parts)
    verdict = "more than is allowed" if told["exceeded"] else "within what is allowed"
    said = f"together {told['mixture']:g} of the limits: {verdict} (29 CFR 1910.1000(d)(2)(i))"
    click.echo(json.dumps(told) if as_json else said)


def _by_hand(asked: Chosen, spent: Sequence[Piece], quantity: str | None) -> Told:
    if quantity is None:
        fail("Say --quantity beside --spent, such as --quantity pm2_5.")
    hours = sum(time for _, time in spent)
    if not 0 < hours <= DAY_HOURS:
        fail(
            f"{hours:g} h: above 0 and up to {DAY_HOURS} h are needed, for exposure is by the day."
        )
    person = asked.who(None)
    substance = asked.intake(person)
    told = of_stays([stay_by_hand(QUANTITIES[quantity], spent)], person, substance)
    day = {"day": "by hand", "in the room": [], "hours": hours, "by hand": True, **told}
    return told_days("by hand", person, substance, [day], [f".{quantity}"])


def _entry(asked: Chosen, settings: Settings) -> PersonEntry | None:
    if asked.person is None or asked.person in settings.people:
        return settings.people.get(asked.person or "")
    known = ", ".join(settings.people) or "none yet; [people.NAME] names one"
    return fail(f'"{asked.person}" is not in the configuration; people there: {known}.')


def _measured(asked: Chosen, settings: Settings, at: int | None, days: int) -> Told:
    entry = _entry(asked, settings)
    hours = asked.hours or tuple(parse_hours(text) for text in (entry.hours if entry else ()))
    if not hours:
        fail('When was somebody in the room? Say --hours "08:00-13:00", or name a person.')
    person = asked.who(entry)
    substance = asked.intake(person)
    now = round(time.time() * 1000)
    span = first_and_last(now if at is None else at, days)
    found = _courses(settings, (begin_of(span[0]), begin_of(span[1] + timedelta(2))))
    told = list(days_of(found, hours, span, person, substance, now))
    return told_days(settings.room.name, person, substance, told, list(found))


def _courses(settings: Settings, span: tuple[int, int]) -> dict[str, Any]:
    try:
        reader = Reader(settings.store.folder)
        try:
            return courses(reader, settings, channels_of(settings), span)
        finally:
            reader.close()
    except sqlite3.Error as error:
        return fail(f"The store in {settings.store.folder} could not be read: {error}")
