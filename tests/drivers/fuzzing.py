"""Ten million bytes of hostile traffic for a decoder: random, mutated and truncated, seeded."""

from collections.abc import Iterator
from random import Random
from typing import NamedTuple

from drivers.frames import BLOCKS, STREAMS, Block, Stream, honest

BYTES = 10_000_000
"""What every decoder is given."""

_LONGEST = 512  # what FrameReader keeps of an unfinished frame
_CORPUS = 300
_BATCH = 40
_REPLIES = 1000


class Outcome(NamedTuple):
    """What a decoder made of its traffic."""

    fed: int
    read: int
    wrong: list[str]


def _spoilt(data: bytes, random: Random) -> bytes:
    """Flip, drop, double or cut something; now and then leave it whole."""
    at = random.randrange(len(data))
    kind = random.randrange(6)
    if kind == 0:
        return data[:at]
    if kind == 1:
        return data[:at] + data[at + 1 + random.randrange(4) :]
    if kind == 2:
        return data[:at] + data[at:][: random.randrange(9)] + data[at:]
    if kind == 3:
        return data[:at] + bytes((data[at] ^ 1 << random.randrange(8),)) + data[at + 1 :]
    if kind == 4:
        return data[:at] + random.randbytes(1 + random.randrange(4)) + data[at + 1 :]
    return data


def _traffic(corpus: list[bytes], random: Random, size: int) -> Iterator[bytes]:
    """Give pieces of random length: a third random, the rest frames, most of them spoilt."""
    given = 0
    while given < size:
        if random.randrange(3):
            frames = random.choices(corpus, k=_BATCH)
            for place in random.choices(range(_BATCH), k=_BATCH // 2):
                frames[place] = _spoilt(frames[place] or b"\0", random)
            data = b"".join(frames)
        else:
            data = random.randbytes(random.randrange(1, 1200))
        data = data[: size - given]
        given += len(data)
        yield data


def _feed(stream: Stream, traffic: Iterator[bytes]) -> Outcome:
    """Do what FrameReader does, and judge every frame that is taken for one."""
    held, fed, read, wrong = b"", 0, 0, list[str]()
    decode, sound = stream.decode, stream.sound
    for data in traffic:
        fed += len(data)
        held += data
        used = 1
        while used and held:
            used, found = decode(held)
            if found is not None:
                read += 1
                if not (sound(held[:used]) and honest(found)):
                    wrong.append(held[:used].hex(" "))
            elif not 0 <= used <= len(held):
                wrong.append(f"used {used} of {len(held)}")
            held = held[used:]
        held = held[-_LONGEST:]
    return Outcome(fed, read, wrong)


def _replies(corpus: list[bytes], random: Random, size: int) -> Iterator[bytes]:
    """Give replies of one size: whole, spoilt, random; a bus fills up what a part leaves out."""
    asked = len(corpus[0])
    for given in range(0, size, _REPLIES * asked):
        count = min(_REPLIES, -(-(size - given) // asked))
        noise = random.randbytes(count * asked)
        for at, kind in enumerate(random.choices(range(4), k=count)):
            if kind == 0:
                yield corpus[at % len(corpus)]
            elif kind == 1:
                yield noise[at * asked : (at + 1) * asked]
            else:
                yield _spoilt(corpus[at % len(corpus)], random)[:asked].ljust(asked, b"\xff")


def _noise(random: Random, asked: int, size: int) -> Iterator[bytes]:
    """Give random replies: what has no checksum has none that could be spoilt."""
    data = random.randbytes(size + asked - size % asked)
    return (data[at : at + asked] for at in range(0, len(data), asked))


def _answer(block: Block, corpus: list[bytes], random: Random, size: int) -> Outcome:
    fed, read, wrong = 0, 0, list[str]()
    decode, sound, asked = block.decode, block.sound, len(corpus[0])
    bare = sound(b"")
    for data in _noise(random, asked, size) if bare else _replies(corpus, random, size):
        fed += asked
        found = decode(data)
        if found is not None:
            read += 1
            if not (sound(data) and honest(found)):
                wrong.append(data.hex(" "))
    return Outcome(fed, read, wrong)


def fuzz(name: str, size: int = BYTES) -> Outcome:
    """Feed a decoder of STREAMS or BLOCKS; whatever it raises comes out."""
    random = Random(f"traffic for {name}")
    target = STREAMS.get(name) or BLOCKS[name]
    corpus = [target.make(random) for _ in range(_CORPUS)]
    if isinstance(target, Stream):
        return _feed(target, _traffic(corpus, random, size))
    return _answer(target, corpus, random, size)
