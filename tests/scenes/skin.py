"""What an invented part looks like and what is true about it.

These dataclasses are the whole agreement between the modules that paint a part's surface
(`make`, `wear`, `texture`, `linings`) and those that photograph it (`mesh`, `bench`, `render`).
Lengths are millimetres in the part's own plane: x right, y down, origin at the part's centre.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

FRICTION, STEEL, REACTION, BAND = "friction plate", "steel plate", "reaction plate", "band"
KINDS = (FRICTION, STEEL, REACTION, BAND)

ToothShape = Literal["trapezoid", "involute", "rounded"]


@dataclass(frozen=True, slots=True)
class PlateShape:
    """Outline of a ring-shaped plate, without its surface.

    The face is the ring ``inner_r..outer_r``. The steel core is the ring ``core_inner_r..core_outer_r``
    (equal to the face on steels). Teeth stick out of the core by ``tooth_depth``: inwards from
    ``core_inner_r`` when ``teeth == "inner"``, outwards from ``core_outer_r`` when ``"outer"``.
    Tooth ``i`` is centred at angle ``360 * i / n_teeth`` degrees, clockwise from +x.
    """

    outer_r: float  # mm, outer edge of the face
    inner_r: float  # mm, inner edge of the face
    core_outer_r: float  # mm, outer edge of the steel core between outer teeth
    core_inner_r: float  # mm, inner edge of the steel core between inner teeth
    teeth: Literal["inner", "outer"]
    n_teeth: int  # pitch count, missing teeth included
    tooth_depth: float  # mm, radial
    tooth_duty: float  # tooth width at mid depth over pitch, 0..1
    tooth_shape: ToothShape
    missing_teeth: tuple[int, ...]  # indices of pitches left without a tooth (oil gaps), may be empty
    thickness_mm: float  # whole plate, linings included
    lining_thickness: float  # mm per side; 0 on steel
    chamfer_mm: float  # rounding of the top edge; a reaction plate's is wide

    def __post_init__(self) -> None:
        radii = (self.core_inner_r, self.inner_r, self.outer_r, self.core_outer_r)
        if not (0 < radii[0] <= radii[1] < radii[2] <= radii[3]):
            raise ValueError(f"radii must rise from core_inner_r to core_outer_r, got {radii}")
        if self.teeth == "inner" and self.tooth_depth >= self.core_inner_r:
            raise ValueError(f"inner teeth {self.tooth_depth} mm deep do not fit in {self.core_inner_r} mm")

    @property
    def reach(self) -> float:
        """Largest radius of the part in mm, teeth included."""
        return self.core_outer_r + (self.tooth_depth if self.teeth == "outer" else 0.0)


@dataclass(frozen=True, slots=True)
class BandShape:
    """An opened-out brake band, lying lining up.

    All lengths are along the strap's own centre line: a curved strap is bent by whoever builds the
    mesh, so its skin's x is arc length and y the offset from the centre line.
    """

    length_mm: float  # strap, end to end
    width_mm: float  # strap
    bend_deg: float  # planar arc the strap lies in, end to end; 0 is straight, positive bends towards +y
    inset_end_mm: float  # bare strap between each end and the lining
    inset_side_mm: float  # bare strap beside the lining
    thickness_mm: float  # strap and lining
    lining_thickness: float  # mm
    bracket_mm: tuple[float, float]  # length along the strap and height of each end bracket

    @property
    def face_half_mm(self) -> tuple[float, float]:
        """Half length and half width of the lining, mm."""
        return self.length_mm / 2 - self.inset_end_mm, self.width_mm / 2 - self.inset_side_mm


@dataclass(frozen=True, slots=True, eq=False)
class Skin:
    """Surface maps of one part, (H, W) pixels over ``[-hx, hx] x [-hy, hy]`` mm.

    The centre of pixel (row, column) lies at ``x = -hx + (column + 0.5) * 2 * hx / W`` and likewise in
    y, which points down. Maps also cover what surrounds the face (core, teeth, strap); outside the part
    they continue the core's metal.
    """

    kind: str  # one of KINDS
    half_mm: tuple[float, float]  # hx, hy; plates are square; a band has x along and y across
    albedo: NDArray[
        np.float32
    ]  # (H, W, 3) linear sRGB (D65) reflectance 0..1; the specular colour where metal
    roughness: NDArray[np.float32]  # (H, W) GGX alpha, 0.03..1
    specular: NDArray[np.float32]  # (H, W) 0..1 weight of a neutral dielectric sheen over the body colour
    metal: NDArray[np.float32]  # (H, W) 1 bare or oxidised metal, 0 lining
    height: NDArray[np.float32]  # (H, W) mm of relief above the nominal surface: grain, grooves, scratches
    truth: dict[str, Any]  # plain JSON values, see tests/scenes/truth.py
    read: Callable[[NDArray[np.bool_]], dict[str, Any]] | None = None  # truth of the map's True pixels alone
    kinds: NDArray[np.uint8] | None = None  # (H, W) index into deposits.KINDS, of a steel

    def __post_init__(self) -> None:
        shape = self.height.shape
        if self.kind not in KINDS:
            raise ValueError(f"kind must be one of {KINDS}, got {self.kind!r}")
        if self.albedo.shape != (*shape, 3):
            raise ValueError(f"albedo must be {(*shape, 3)}, got {self.albedo.shape}")
        for name in ("roughness", "specular", "metal"):
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name} must be {shape}, got {getattr(self, name).shape}")

    @property
    def mm_per_px(self) -> float:
        """Millimetres per map pixel, the same in x and y."""
        return 2 * self.half_mm[0] / self.height.shape[1]
