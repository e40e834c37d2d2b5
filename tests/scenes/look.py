"""What a part shows beside its heat level."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Look:
    """Wishes for one part; None lets chance decide."""

    grooves: str | None = None  # one of grooves.PLATE_PATTERNS or BAND_PATTERNS
    groove_seed: int | None = None  # plates that share it were cut by one tool: pitch, width, turn
    ink: bool | None = None  # a printed part number
    oil: bool | None = None  # patches of oil film
    wet: bool = False  # the whole part, and so its clean colour
    by_glaze: bool | None = None  # reach the level with the help of glaze (lining, levels 1 to 3)
    heat: str | None = None  # a kind of wear.heat_shape
    brownness: float | None = None  # of linings.heat_path
    spots: int | None = None  # hot spots on a steel; from three on they decide the level
    one_sided: bool | None = None  # hot spots on one side only
    deposit: str | None = None  # one of deposits.DEPOSITS, on a steel; None is none
    finish: str | None = None  # a lay of texture.ground_metal with a strong sheen along it
