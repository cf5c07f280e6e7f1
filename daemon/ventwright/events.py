"""What goes into the core and what comes out of it. All times are whole ms of this boot.

In: Started, Measured, Trouble, RelayReport, StoreReport, Request, LocalTime; from a stored log
Readings in place of the first three. Out: Readings, Record, Switch.

Bodies of Record, by kind (numbers in the channel's unit; times in ms of the boot):

alarm      change (raised, worse, cleared, acknowledged, reset, shelved, unshelved, chattering,
           standing), state, priority, channel, quantity, compare (see alarms/comparing.py), over
           (ms), unit (of value, setpoint, deadband and peak: the channel's, that per min for a
           rate, min for a silence), value, mean, baseline, young (the baseline is), rise,
           baseline_sigma and rise_sigma (standard uncertainties of baseline and of rise, null where
           unknown), setpoint and deadband (with the share of the baseline, as they are now),
           settled (after so long below the setpoint in calm air it clears too, ms; 0: never),
           expected (what the value will be for an alarm that looks ahead, or null), coverage
           (0..1), since, peak, dose (the channel's unit
           times hours since the condition became true, or null), reaches (when a forecast, or an
           alarm that looks ahead, expects the setpoint, ms, or null), activations (in the last
           hour, up to 5), limit (a name of the limits table, or null), optical (true: ultrafine
           particles are not seen), extractors (name: state), clear (when the air will
           be clear: about, from, to, ms, emits: only if what emits stopped now, and measured: the
           room is commissioned; or null)
extractor  from, to (states of extraction/extractor.py; the same where only the relay switches, once
           its minimum time is over, or where something is told), on, why, about (what is told:
           "longest run", "quiet hours", "rested", or nothing)
fan        change (failed, back), why, speed (1/min, of a tachometer), on; subject: the extractor
clock      local (what makes local time of a time, ms, or null while the clock is not trusted)
source     change (began, ended), and what was thought of the source then: keeper/sources.py
clearance  change (found, back, low), channel, share of the commissioned clearance with share_sigma,
           low (chance that less than 75 % are there), clearance and commissioned (1/h),
           since (when this use began)
part       change (lost, back), why, partly (true: some of its channels can still be used)
relay      change (failed, back), why, commanded
same air   change (disagree, agree), channels (the two), means (of each over `over` ms, or null),
           unit, counts (the channel that is judged while they disagree: the higher one)
store      change (failing, back, set aside), why, dropped (readings given up), file (set aside)
keeper     change (started, stopped), why, missed (ms without a keeper before the start, or null),
           restored (when the state that was taken back was saved, ms of its boot, or null),
           calibration (of every channel that has one: offset, slope)
request    verb, words, who, answer
commissioned  channel, volume (m³), natural and clearance (loss rates with this extractor off and
           on, 1/h) with natural_error and clearance_error, points, method, t, who
mark       phase (of a trial, keeper/marks.py), labels, who, and what else was said: the subject is
           the trial; `at` (Unix ms by phase) for a print that had already happened
"""

from typing import Any, NamedTuple

from ventwright_drivers.part import Sample

DIED = "the keeper before died or was killed"
REBOOTED = "the machine was started anew"
STOPPED = "it was stopped in good order"
SPOILT = "what the keeper before knew cannot be read"
"""Why a keeper had to start, in the record of its start."""


class Started(NamedTuple):
    """A part was opened (again): its warm-up begins."""

    t: int
    part: str


class Measured(NamedTuple):
    """A part gave a sample."""

    t: int
    part: str
    sample: Sample


class Trouble(NamedTuple):
    """A part cannot be read, for the reason given."""

    t: int
    part: str
    why: str


class RelayReport(NamedTuple):
    """A relay was commanded; `state` is what was read back (None: it cannot tell)."""

    t: int
    relay: str
    commanded: bool
    state: bool | None
    why: str = ""
    """Why the command failed, or nothing."""


class StoreReport(NamedTuple):
    """The store began to fail (`why`) or works again (empty), with readings lost since.

    With `aside` it was damaged, for the reason `why`, and its file bears that name now. With
    `most` it has no more room than that, MB, and keeps things for less time than it was told to.
    """

    t: int
    why: str
    dropped: int
    aside: str = ""
    most: int | None = None


class Request(NamedTuple):
    """Somebody asks for something over the socket."""

    t: int
    who: str
    verb: str
    words: dict[str, Any]


class LocalTime(NamedTuple):
    """The wall clock as it is believed now: local time of day is `t` + `local`, ms.

    None while the clock is not known to be right.
    """

    t: int
    local: int | None


class Readings(NamedTuple):
    """To be stored: the values of one sample in whole steps (None: no value) and their marks."""

    t: int
    part: str
    steps: tuple[int | None, ...]
    marks: bytes


class Record(NamedTuple):
    """To be stored at once: something happened. `body` is plain JSON."""

    t: int
    kind: str
    """One of those above."""
    subject: str
    body: dict[str, Any]


class Switch(NamedTuple):
    """A relay is to be commanded."""

    t: int
    relay: str
    on: bool


Action = Readings | Record | Switch
Event = Started | Measured | Readings | Trouble | RelayReport | StoreReport | Request | LocalTime
