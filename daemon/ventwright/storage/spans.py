"""Finds what the store holds between two times of the wall clock, without reading the rest.

Numbers of blocks grow with boots and times, save among the few blocks of one commit.
"""

from collections.abc import Iterator

from ventwright.storage.reader import Boot, Reader, StoredBlock

_NEAR = 100  # more blocks than one commit has: one a part
_PAGE = 500


def between(reader: Reader, first: int, last: int) -> Iterator[tuple[int, StoredBlock]]:
    """Give the blocks with samples from `first` to `last` (Unix ms), and each boot's offset.

    A boot after another, oldest first; where clocks were wrong their times may overlap. Unix ms
    of a sample is its time and the offset. Raises sqlite3.Error.
    """
    for boot in reader.boots().values():
        if boot.offset <= last:
            for block in of_boot(reader, boot, first - boot.offset, last - boot.offset):
                yield boot.offset, block


def of_boot(reader: Reader, boot: Boot, first: int, last: int) -> Iterator[StoredBlock]:
    """Give the blocks of a boot with samples from `first` to `last` (ms of the boot)."""
    after, beyond = max(0, _place(reader, (boot.id, first)) - _NEAR), 0
    while page := reader.blocks(after, _PAGE):
        for block in page:
            beyond += block.boot > boot.id or (block.boot == boot.id and block.first > last)
            if block.boot == boot.id and block.last >= first and block.first <= last:
                yield block
        if beyond > _NEAR:
            return
        after = page[-1].id


def _place(reader: Reader, sought: tuple[int, int]) -> int:
    """Halve the numbers until the first block is found that ends at (boot, ms) or later."""
    low, high = 0, reader.last_block() + 1
    while low + 1 < high:
        middle = (low + high) // 2
        (block,) = reader.blocks(middle - 1, 1)
        if (block.boot, block.last) >= sought:
            high = middle
        else:
            low = middle
    return high


def newest(reader: Reader) -> int | None:
    """Tell the time of the newest stored sample of the newest boot, Unix ms; None without any."""
    boots = reader.boots()
    blocks = reader.blocks(max(0, reader.last_block() - _NEAR), _NEAR)
    if not blocks:
        return None
    boot = blocks[-1].boot
    return max(block.last for block in blocks if block.boot == boot) + boots[boot].offset
