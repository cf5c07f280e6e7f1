"""The witness of the power cuts would notice a loss; no board needed."""

import pytest

from qemu.witness import Row, compare

KNOWN: dict[Row, int] = {("blocks", 1): 11, ("events", 1): 22}


def test_all_there_and_more_is_well() -> None:
    compare(KNOWN, {**KNOWN, ("blocks", 2): 33})


def test_a_missing_row_is_noticed() -> None:
    with pytest.raises(AssertionError, match=r"committed and lost: \[\('events', 1\)\]"):
        compare(KNOWN, {("blocks", 1): 11})


def test_a_changed_row_is_noticed() -> None:
    with pytest.raises(AssertionError, match="committed and changed"):
        compare(KNOWN, {**KNOWN, ("events", 1): 23})
