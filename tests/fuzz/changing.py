"""Bytes and texts changed at random: real files damaged in the ways that disks, networks and people do."""

from __future__ import annotations

import random
import struct
import zlib
from collections.abc import Sequence

# Sizes and counts at which readers stumble.
_EDGES = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)
_HEADER = 2048  # most of what a reader decides on stands in the first bytes


def changed(chance: random.Random, seeds: Sequence[bytes]) -> bytes:
    """One of the seeds with one to four changes."""
    data = bytearray(chance.choice(seeds))
    for _ in range(chance.randint(1, 4)):
        chance.choice(_CHANGES)(chance, data, seeds)
    if chance.random() < 0.5:
        _mend_png_sums(data)
    return bytes(data)


def _place(chance: random.Random, data: bytearray) -> int:
    end = len(data) if chance.random() < 0.4 else min(len(data), _HEADER)
    return chance.randrange(end) if end else 0


def _flip(chance: random.Random, data: bytearray, _: Sequence[bytes]) -> None:
    for _ in range(chance.randint(1, 8)):
        if data:
            data[_place(chance, data)] ^= 1 << chance.randrange(8)


def _set(chance: random.Random, data: bytearray, _: Sequence[bytes]) -> None:
    if data:
        data[_place(chance, data)] = chance.randrange(256)


def _number(chance: random.Random, data: bytearray, _: Sequence[bytes]) -> None:
    at, size = _place(chance, data), chance.choice((2, 4))
    value = chance.choice(_EDGES) & ((1 << 8 * size) - 1)
    data[at : at + size] = value.to_bytes(size, chance.choice(("big", "little")))


def _cut(chance: random.Random, data: bytearray, _: Sequence[bytes]) -> None:
    del data[_place(chance, data) :]


def _drop(chance: random.Random, data: bytearray, _: Sequence[bytes]) -> None:
    at = _place(chance, data)
    del data[at : at + chance.randint(1, 64)]


def _repeat(chance: random.Random, data: bytearray, _: Sequence[bytes]) -> None:
    at = _place(chance, data)
    piece = data[at : at + chance.randint(1, 256)]
    data[at:at] = piece * chance.choice((1, 1, 2, 50))


def _graft(chance: random.Random, data: bytearray, seeds: Sequence[bytes]) -> None:
    other = chance.choice(seeds)
    start = chance.randrange(len(other)) if other else 0
    at = _place(chance, data)
    data[at : at + chance.choice((0, 64))] = other[start : start + chance.randint(1, 512)]


_CHANGES = (_flip, _flip, _set, _number, _number, _cut, _drop, _repeat, _graft)


def _mend_png_sums(data: bytearray) -> None:
    """Right the checksums of a PNG, so that its changed chunks get past them."""
    at = 8
    while data.startswith(b"\x89PNG") and at + 12 <= len(data):
        (size,) = struct.unpack_from(">I", data, at)
        end = at + 8 + size
        if end + 4 > len(data):
            return
        struct.pack_into(">I", data, end, zlib.crc32(data[at + 4 : end]))
        at = end + 4
