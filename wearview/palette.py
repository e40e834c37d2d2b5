"""The colours and hatches that stand for a heat level, once, for overlays, pack pictures and reports.

From pale blue to near-black violet: lightness falls with every level, so the order survives a greyscale
print, and the steps stay apart for eyes without red or green cones (measured in
`tests/stages/test_palette.py`). A colour never stands alone: the level is also written, and drawn areas
carry a hatch.
"""

LEVEL_COLOURS = ("#e4f3fb", "#eabc45", "#dc7d3c", "#a52c35", "#350f45")
CANNOT_TELL_COLOUR = "#6a727b"

# Ink that is legible on the colour of the same place.
LEVEL_INKS = ("#000000", "#000000", "#000000", "#ffffff", "#ffffff")
CANNOT_TELL_INK = "#ffffff"

# Ids of the hatches drawn in `templates/hatches.svg`; they grow denser with the level.
LEVEL_PATTERNS = ("hatch-0", "hatch-1", "hatch-2", "hatch-3", "hatch-4")
CANNOT_TELL_PATTERN = "hatch-unknown"


def colour_of(level: int | None) -> str:
    """sRGB hex colour of a level 0..4, or of "cannot tell" for None."""
    return CANNOT_TELL_COLOUR if level is None else LEVEL_COLOURS[level]


def ink_of(level: int | None) -> str:
    """sRGB hex colour of text on `colour_of` the same level."""
    return CANNOT_TELL_INK if level is None else LEVEL_INKS[level]


def pattern_of(level: int | None) -> str:
    """Hatch id of a level 0..4, or of "cannot tell" for None."""
    return CANNOT_TELL_PATTERN if level is None else LEVEL_PATTERNS[level]


def rgb_of(level: int | None) -> tuple[int, int, int]:
    """`colour_of` as 8-bit red, green, blue."""
    digits = colour_of(level)
    return int(digits[1:3], 16), int(digits[3:5], 16), int(digits[5:7], 16)
