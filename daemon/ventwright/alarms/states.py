"""The states of an alarm and the ways between them, after ANSI/ISA-18.2 and IEC 62682.

Sources: state names and the transitions between normal, unacknowledged, acknowledged and
returned to normal as published; re-alarm, latching reset and re-entry after shelving from
memory of the standards.
"""

from enum import StrEnum


class State(StrEnum):
    """A state of the standard's diagram."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned to normal, unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched, acknowledged"
    SHELVED = "shelved"
    OUT_OF_SERVICE = "out of service"


class Stimulus(StrEnum):
    """What can move an alarm from one state to another."""

    RAISE = "raise"
    CLEAR = "clear"
    CLEAR_LATCHING = "clear, latching"
    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"


S, M = State, Stimulus

WAYS: dict[tuple[State, Stimulus], State] = {
    (S.NORMAL, M.RAISE): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, M.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, M.CLEAR): S.RETURNED,
    (S.UNACKNOWLEDGED, M.CLEAR_LATCHING): S.LATCHED_UNACKNOWLEDGED,
    (S.ACKNOWLEDGED, M.CLEAR): S.NORMAL,
    (S.ACKNOWLEDGED, M.CLEAR_LATCHING): S.LATCHED_ACKNOWLEDGED,
    (S.RETURNED, M.ACKNOWLEDGE): S.NORMAL,
    (S.RETURNED, M.RAISE): S.UNACKNOWLEDGED,
    (S.LATCHED_UNACKNOWLEDGED, M.ACKNOWLEDGE): S.LATCHED_ACKNOWLEDGED,
    (S.LATCHED_UNACKNOWLEDGED, M.RAISE): S.UNACKNOWLEDGED,
    (S.LATCHED_ACKNOWLEDGED, M.RESET): S.NORMAL,
    (S.LATCHED_ACKNOWLEDGED, M.RAISE): S.UNACKNOWLEDGED,
}
"""Every way that exists; what is not here moves nothing."""

ASIDE = frozenset({S.SHELVED, S.OUT_OF_SERVICE})
"""Set aside by somebody: the condition is followed, nobody is told."""

LATCHED = frozenset({S.LATCHED_UNACKNOWLEDGED, S.LATCHED_ACKNOWLEDGED})
"""The condition is over and somebody has yet to say so."""
