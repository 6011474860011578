"""Orders by chance that are the same everywhere: those of numpy's default generator, without its package of generators.

That package takes 2.5 MB of memory, measured, and the fixed points of a cloud need no more of it than this: PCG64
(XSL-RR 128/64: O'Neill, "PCG: A Family of Simple Fast Space-Efficient Statistically Good Algorithms for Random Number
Generation",
2014) begun from a seed as numpy's ``SeedSequence`` spreads it, and the shuffle of Fisher and Yates.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

_32: Final = 2**32 - 1
_64: Final = 2**64 - 1
_128: Final = 2**128 - 1
_MULTIPLIER: Final = 0x2360ED051FC65DA44385DF649FCCF645
_POOL: Final = 4


def orders(seed: int, length: int) -> Iterator[list[int]]:
    """Permutations of 0 to ``length - 1``, one after the other; ``seed`` below 2**32, ``length`` of at most 2**32."""
    words = _words(seed)
    while True:
        order = list(range(length))
        for last in range(length - 1, 0, -1):
            mask = (1 << last.bit_length()) - 1
            while (other := next(words) & mask) > last:
                pass
            order[last], order[other] = order[other], order[last]
        yield order


def _words(seed: int) -> Iterator[int]:
    """32 bits at a time, the lower half of each 64 first."""
    begin, stream = _spread(seed)
    add = (stream << 1 | 1) & _128
    state = ((add + begin) * _MULTIPLIER + add) & _128
    while True:
        state = (state * _MULTIPLIER + add) & _128
        mixed, turn = (state >> 64) ^ (state & _64), state >> 122
        word = (mixed >> turn | mixed << (64 - turn)) & _64
        yield word & _32
        yield word >> 32


def _spread(seed: int) -> tuple[int, int]:
    """A seed as two numbers of 128 bits."""
    key = 0x43B0D7E5

    def mixed_in(value: int) -> int:
        nonlocal key
        value ^= key
        key = key * 0x931E8875 & _32
        value = value * key & _32
        return value ^ value >> 16

    pool = [mixed_in(word) for word in [seed, *[0] * (_POOL - 1)]]
    for source in range(_POOL):
        for target in range(_POOL):
            if source != target:
                value = (0xCA01F9DD * pool[target] - 0x4973F715 * mixed_in(pool[source])) & _32
                pool[target] = value ^ value >> 16
    key, words = 0x8B51F9DD, []
    for number in range(2 * _POOL):
        value = pool[number % _POOL] ^ key
        key = key * 0x58F38DED & _32
        value = value * key & _32
        words.append(value ^ value >> 16)
    halves = [words[n] | words[n + 1] << 32 for n in range(0, len(words), 2)]
    return halves[0] << 64 | halves[1], halves[2] << 64 | halves[3]
