"""Random outlines of plates and bands, within the sizes of passenger-car and light-truck units."""

from __future__ import annotations

import numpy as np

from tests.scenes.skin import FRICTION, REACTION, STEEL, BandShape, PlateShape


def random_plate_shape(
    rng: np.random.Generator, kind: str, *, like: PlateShape | None = None, outer_r: float | None = None
) -> PlateShape:
    """Outline of a friction, steel or reaction plate.

    With ``like`` the face radii match that plate, so that the two belong to one pack: its friction has
    teeth on one side and its steels on the other. Sizes are common practice, no source.
    """
    if kind not in (FRICTION, STEEL, REACTION):
        raise ValueError(f"no plate of kind {kind!r}")
    lined = kind == FRICTION
    outer = like.outer_r if like else (outer_r or rng.uniform(46, 92))
    width = like.outer_r - like.inner_r if like else min(rng.uniform(11, 26), 0.36 * outer)
    inner = outer - width
    if like and lined != (
        like.lining_thickness > 0
    ):  # a steel's face is a little wider than the lining it meets
        grow = rng.uniform(0.4, 1.2) * (-1 if lined else 1)
        outer, inner = outer + grow, inner - grow
    if like:
        same_sort = lined == (like.lining_thickness > 0)
        side = like.teeth if same_sort else ("outer" if like.teeth == "inner" else "inner")
    else:
        side = ("inner" if lined else "outer") if rng.random() < 0.88 else ("outer" if lined else "inner")
    overhang = rng.uniform(0.3, 1.5) if lined else 0.0
    lip = rng.uniform(0.3, 1.2) if lined else 0.0
    wide_lugs = not lined and rng.random() < 0.5
    root = outer + lip if side == "outer" else inner - overhang
    if wide_lugs:
        n, depth, duty = int(rng.integers(6, 15)), rng.uniform(3.5, 7), rng.uniform(0.28, 0.5)
    else:
        pitch = rng.uniform(5.5, 9.5)
        n = max(18, round(2 * np.pi * root / pitch))
        depth, duty = rng.uniform(2.2, 4.2), rng.uniform(0.42, 0.55)
    missing: tuple[int, ...] = ()
    if not wide_lugs and rng.random() < 0.3:
        gaps = int(rng.integers(2, 5))
        missing = tuple(sorted({int(i * n / gaps) for i in range(gaps)}))
    if kind == REACTION:
        thickness, chamfer = rng.uniform(3.5, 8.0), rng.uniform(0.5, 1.2)
    else:
        thickness, chamfer = rng.uniform(1.6, 2.5), rng.uniform(0.08, 0.25)
    return PlateShape(
        outer_r=float(outer),
        inner_r=float(inner),
        core_outer_r=float(outer + lip),
        core_inner_r=float(inner - overhang),
        teeth=side,
        n_teeth=n,
        tooth_depth=float(depth),
        tooth_duty=float(duty),
        tooth_shape=str(rng.choice(["trapezoid", "involute", "rounded"])),  # type: ignore[arg-type]
        missing_teeth=missing,
        thickness_mm=float(thickness),
        lining_thickness=float(rng.uniform(0.35, 0.5)) if lined else 0.0,
        chamfer_mm=float(chamfer),
    )


def random_band_shape(rng: np.random.Generator) -> BandShape:
    """An opened-out band of 250 to 430 mm."""
    lining = rng.uniform(0.8, 1.3)
    return BandShape(
        length_mm=float(rng.uniform(250, 430)),
        width_mm=float(rng.uniform(28, 52)),
        bend_deg=float(rng.normal(0, 14)) if rng.random() < 0.6 else 0.0,
        inset_end_mm=float(rng.uniform(7, 14)),
        inset_side_mm=float(rng.uniform(0.3, 1.2)),
        thickness_mm=float(rng.uniform(1.6, 2.2) + lining),
        lining_thickness=float(lining),
        bracket_mm=(float(rng.uniform(9, 15)), float(rng.uniform(8, 14))),
    )
