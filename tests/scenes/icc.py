"""A minimal ICC profile for Display P3: matrix and curve, no text but its name.

Layout by ICC.1:2022 (sections 7 to 10, numbers from memory); primaries by SMPTE EG 432-1.
"""

from __future__ import annotations

import struct

import numpy as np

from tests.scenes.colours import colour

_D50 = np.array([0.9642, 1.0, 0.8249])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def to_d50() -> np.ndarray:
    """(3, 3) from linear Display P3 to XYZ under D50."""
    space = colour.RGB_COLOURSPACES["Display P3"]
    matrix = np.asarray(space.matrix_RGB_to_XYZ, float)
    white = matrix.sum(axis=1)
    scale = np.diag((_BRADFORD @ _D50) / (_BRADFORD @ white))
    return np.linalg.inv(_BRADFORD) @ scale @ _BRADFORD @ matrix


def srgb_to_p3() -> np.ndarray:
    """(3, 3) from linear sRGB to linear Display P3; both have the same white."""
    spaces = colour.RGB_COLOURSPACES
    to_xyz = np.asarray(spaces["sRGB"].matrix_RGB_to_XYZ, float)
    return np.linalg.inv(np.asarray(spaces["Display P3"].matrix_RGB_to_XYZ, float)) @ to_xyz


def display_p3() -> bytes:
    """The profile."""

    def fixed(*values: float) -> bytes:
        return b"".join(struct.pack(">i", round(v * 65536)) for v in values)

    def text(words: str) -> bytes:
        wide = words.encode("utf-16-be")
        return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(wide), 28) + wide

    curve = b"para" + struct.pack(">IHH", 0, 3, 0) + fixed(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    matrix = to_d50()
    tags = {
        b"desc": text("Display P3"),
        b"cprt": text("CC0"),
        b"wtpt": b"XYZ " + bytes(4) + fixed(*_D50),
        b"rXYZ": b"XYZ " + bytes(4) + fixed(*matrix[:, 0]),
        b"gXYZ": b"XYZ " + bytes(4) + fixed(*matrix[:, 1]),
        b"bXYZ": b"XYZ " + bytes(4) + fixed(*matrix[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    offset = 128 + 4 + 12 * len(tags)
    table, data = struct.pack(">I", len(tags)), b""
    for name, value in tags.items():
        table += name + struct.pack(">II", offset + len(data), len(value))
        data += value + bytes(-len(value) % 4)
    header = struct.pack(">I4sI4s4s4s", offset + len(data), bytes(4), 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H4s", 2025, 1, 1, 0, 0, 0, b"acsp") + bytes(4 + 4 + 4 + 4 + 8 + 4)
    header += fixed(*_D50) + bytes(4)
    return header.ljust(128, b"\0") + table + data
