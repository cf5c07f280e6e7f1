"""What must hold of the records of one alarm, whatever happened: the standard's diagram, told once.

Knows changes and states as they are recorded; knows no alarm.
"""

from collections.abc import Sequence
from itertools import pairwise

from ventwright.alarms.states import ASIDE, WAYS, State, Stimulus

Told = tuple[str, State]
"""A change, and the state that it led to."""

_ENTERED = {"shelved": State.SHELVED, "out of service": State.OUT_OF_SERVICE}
_LEAVES = frozenset({"unshelved", "in service"})
_STIMULI = {
    "raised": (Stimulus.RAISE,),
    "cleared": (Stimulus.CLEAR, Stimulus.CLEAR_LATCHING),
    "acknowledged": (Stimulus.ACKNOWLEDGE,),
    "reset": (Stimulus.RESET,),
}
_STILL = frozenset({"worse", "chattering", "standing"})


def follows_the_diagram(told: Sequence[Told]) -> bool:
    """Tell whether every record is a step of the diagram from the one before, normal first.

    What is set aside is left by the change that says so, and by nothing else.
    """
    return all(_is_step(before, *after) for before, after in pairwise([_FIRST, *told]))


_FIRST: Told = ("", State.NORMAL)


def _is_step(before: Told, change: str, after: State) -> bool:
    was = before[1]
    if change in _ENTERED:
        return after is _ENTERED[change]
    if change in _LEAVES:
        return was in ASIDE and after not in ASIDE
    if change == "raised" and before[0] in _LEAVES and was is after:
        return True  # at the same moment: both tell the state that they led to
    if change in _STILL:
        return was is after and was not in ASIDE
    return any(WAYS.get((was, stimulus)) is after for stimulus in _STIMULI[change])


def is_told_once(told: Sequence[Told]) -> bool:
    """Tell whether nothing begins that has begun, or ends or gets worse that has not.

    What somebody has set aside begins anew where it still stands and was not acknowledged.
    """
    wanted = {"raised": False, "cleared": True, "worse": True}
    return all(
        change not in wanted or wanted[change] is stands(told[:place])
        for place, (change, _) in enumerate(told)
    )


def stands(told: Sequence[Told]) -> bool:
    """Tell whether it was told as begun, and not yet as over, after these records."""
    begun = False
    for change, state in told:
        if change in _LEAVES:
            begun = state is State.ACKNOWLEDGED
        elif change == "raised" or change == "cleared" or change in _ENTERED:
            begun = change == "raised"
    return begun
