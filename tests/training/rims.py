"""Fit the weights of `models/rims-1.toml`: `python -m tests.training.rims --scenes DIR... --out FILE`.

Each tuned scene's plates are found as the program finds them, before their rims are made finer. From those
rims, and from true rims changed a little by chance, rays are read; which of their places are face is the
truth. Whatever lies over a rim stays in, so that the weights learn to be unsure of it. Each is read again in
other light, smaller, softer and noisier, and some with their grain smoothed away. Beside them stand drawn
plates: rendered linings all have grain and a lip of core beside them, others need not.
"""

import argparse
import json
import math
import multiprocessing
import zlib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.training.networks import Layers, fit_layers, folds_of, written
from wearview.network import answers
from wearview.parts.find import rough_plates, smoothed
from wearview.parts.finer import (
    FROM_RIM,
    MIDDLE,
    PLACES,
    SECTORS,
    SIDES,
    Face,
    changed,
    face_of,
    rays_of,
    rim_readings,
)
from wearview.parts.learned import look
from wearview.parts.part import Ellipse
from wearview.photo import read_photo

HIDDEN = (96, 48)  # units
FOLDS = 3  # one in so many scenes is left out of the fit that the printed figures are of
SEED = 1
VARIED = 4  # times that a plate is read again, the picture varied
FROM_FOUND = 2  # of these, from where it was found; in the others from true rims changed by chance
KEPT = 0.6  # of the sectors: neighbours tell nearly the same
DRAWN, DRAWN_ID = 4000, "d"  # drawn plates, and how their names begin
LEAST_RADIUS = 60.0  # working-copy pixels down to which plates are made smaller
# Of what chance changes, as `finer.CHANGES`; in hundredths of the radius, or in pixels.
SPREAD = np.array([1.2, 0.8, 0.8, 0.3, 0.3])
SAME_CENTRE, SAME_SIZE = 0.06, 0.12  # of a true plate, of its major axis
FAR = PLACES / 2  # steps: a rim that no place of a ray reaches says nothing
HEAD = """\
# Weights that say which places beside a rim are face (wearview/parts/finer.py).
# Made by: python -m tests.training.rims --scenes DIR... --out FILE, on the tuned rendered scenes only (no
# real plate was measured)."""


@dataclass(frozen=True, slots=True, eq=False)
class Sectors:
    """Both rims of one plate from one start: readings (n, 2 x SECTORS), how many steps away from the face the
    true rims lie, whether that counts; the scene, and whether the start is what was found."""

    readings: NDArray[np.float16]
    off: NDArray[np.float64]
    counts: NDArray[np.bool_]
    scene: str
    found: bool


def main() -> None:
    """Write the file and print how far off the ends of faces are on scenes left out of a fit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=Path, required=True, nargs="+")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--jobs", type=int, default=1, help="photos read at a time")
    options = parser.parse_args()
    paths = [path for folder in options.scenes for path in sorted(folder.glob("*.json"))]
    with ProcessPoolExecutor(options.jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
        plates = [read for found in pool.map(_plates, paths, chunksize=8) for read in found]
        plates += [read for found in pool.map(_drawn_plate, range(DRAWN), chunksize=8) for read in found]
    fold = folds_of((read.scene for read in plates), np.random.default_rng(SEED), FOLDS)
    layers = _fit([read for read in plates if fold[read.scene]])
    left_out = [read for read in plates if read.found and not fold[read.scene] and read.scene[0] != DRAWN_ID]
    before = [np.abs(read.off)[read.counts] for read in left_out]
    after = [np.abs(_ends(layers, read) - read.off)[read.counts] for read in left_out]
    as_found, by_these = (f"{np.mean(np.concatenate(part) < 1):.3f}" for part in (before, after))
    count, scenes = sum(read.found for read in plates) - DRAWN, len(fold) - DRAWN
    report = (
        f"# {count} plates of {scenes} scenes. On {len(left_out)} plates of scenes left out, sectors\n"
        f"# off by less than a step: {as_found} as found, {by_these} by these."
    )
    print(report)
    options.out.write_text("\n".join([HEAD, report, *written(_fit(plates))]) + "\n", "utf-8")


def _fit(plates: list[Sectors]) -> Layers:
    """Weights and biases of each layer, for readings as they come."""
    values = np.concatenate([read.readings[:, read.counts].T for read in plates]).astype(np.float32)
    off = np.concatenate([read.off[read.counts] for read in plates])
    return fit_layers(
        values,
        off[:, None] > FROM_RIM,
        HIDDEN,
        settling=6,
        alpha=1e-3,
        batch_size=1024,
        max_iter=24,
        learning_rate_init=2e-3,
        random_state=SEED,
    )


def _ends(layers: Layers, read: Sectors) -> NDArray[np.float64]:
    odds = answers(layers, read.readings.astype(np.float64))
    return np.asarray((1 / (1 + np.exp(-odds))).sum(axis=0) - FAR)


def _plates(path: Path) -> list[Sectors]:
    """Every plate that is found in a tuned photo, given by the file of its truth, from several starts."""
    cv2.setNumThreads(1)
    truth = json.loads(path.read_text("utf-8"))
    if not (truth["tuned"] and truth["gradeable"] and any(part["outer"] for part in truth["parts"])):
        return []
    rng = np.random.default_rng([SEED, zlib.crc32(path.stem.encode())])
    photo = read_photo(path.parent / truth["photo"])
    working, focal = photo.working, photo.focal_px / photo.scale if photo.focal_px else None
    found = rough_plates(working, smoothed(working), focal, look(working))
    read = []
    for part in truth["parts"]:
        if not (part["outer"] and part["gradeable"]):
            continue
        rims = [Ellipse(**part[rim]).scaled(1 / photo.scale) for rim in ("outer", "inner")]
        plate = next((p for p in found if lies_at(p.outer.ellipse, rims[0])), None)
        if plate is None:
            continue
        # The same plates under other lamps stay together.
        scene = path.stem.split("-")[0]
        as_found = _piece_around(working, face_of(plate), rims)
        read.append(_read(as_found, scene, rng, found=True))
        for n in range(VARIED):
            piece = _varied(as_found, rng)
            start = piece if n < FROM_FOUND else _beside_truth(piece, rng)
            read.append(_read(start, scene, rng, found=False))
    return read


def lies_at(seen: Ellipse, true: Ellipse) -> bool:
    """Whether a rim that was found is where a true one is."""
    apart = math.hypot(seen.cx - true.cx, seen.cy - true.cy) / true.major
    return apart < SAME_CENTRE and abs(seen.major / true.major - 1) < SAME_SIZE


@dataclass(frozen=True, slots=True, eq=False)
class _Piece:
    """A piece of a photo with one plate: the face that reading starts from, and the true rims."""

    rgb8: NDArray[np.uint8]
    face: Face
    rims: list[Ellipse]


def _piece_around(working: NDArray[np.uint8], face: Face, rims: list[Ellipse]) -> _Piece:
    height, width = working.shape[:2]
    true = rims[0]
    reach = 0.7 * max(true.major, face.outer.major)
    left, top = max(0, int(true.cx - reach)), max(0, int(true.cy - reach))
    right, bottom = min(width, int(true.cx + reach) + 1), min(height, int(true.cy + reach) + 1)

    def here(rim: Ellipse) -> Ellipse:
        return replace(rim, cx=rim.cx - left, cy=rim.cy - top)

    moved = replace(face, outer=here(face.outer), inner=here(face.inner))
    return _Piece(working[top:bottom, left:right].copy(), moved, [here(rim) for rim in rims])


def _varied(piece: _Piece, rng: np.random.Generator) -> _Piece:
    """The plate as another phone may show it: smaller, in other light, softer, noisier, coded anew."""
    least = max(0.35, LEAST_RADIUS / piece.face.radius)
    if least < 1 and rng.random() < 0.6:
        piece = _smaller(piece, math.exp(rng.uniform(math.log(least), 0)))
    rgb = np.clip(piece.rgb8.astype(np.float32) / 255, 1e-3, 1) ** math.exp(rng.normal(0, 0.2))
    rgb *= np.exp(rng.normal(0, 0.2) + rng.normal(0, 0.08, 3))
    grey = rgb.mean(axis=2, keepdims=True)
    rgb = grey + (rgb - grey) * math.exp(rng.normal(0, 0.3))
    if rng.random() < 0.15:
        rgb = cv2.bilateralFilter(rgb.astype(np.float32), 7, rng.uniform(0.05, 0.25), 3)
    if rng.random() < 0.4:
        rgb = cv2.GaussianBlur(rgb, (0, 0), rng.uniform(0.3, 1.2))
    if rng.random() < 0.5:
        rgb = rgb + rng.normal(0, rng.uniform(0, 0.03), rgb.shape)
    rgb8 = np.round(np.clip(rgb, 0, 1) * 255).astype(np.uint8)
    if rng.random() < 0.5:
        rgb8 = _coded(rgb8, int(rng.integers(60, 96)))
    return replace(piece, rgb8=rgb8)


def _coded(rgb8: NDArray[np.uint8], quality: int) -> NDArray[np.uint8]:
    """A picture after JPEG of a quality; to the coder the order of channels matters little."""
    coded = cv2.imencode(".jpg", rgb8, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return np.asarray(cv2.imdecode(coded, cv2.IMREAD_COLOR), np.uint8)


def _smaller(piece: _Piece, scale: float) -> _Piece:
    # Told by factor, OpenCV keeps it to the digit; told by size, it would stretch to whole pixels.
    rgb8 = cv2.resize(piece.rgb8, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)

    def there(rim: Ellipse) -> Ellipse:
        cx, cy = ((at + 0.5) * scale - 0.5 for at in (rim.cx, rim.cy))
        return Ellipse(cx, cy, rim.major * scale, rim.minor * scale, rim.angle_deg)

    face = replace(piece.face, outer=there(piece.face.outer), inner=there(piece.face.inner))
    return _Piece(np.asarray(rgb8, np.uint8), face, [there(rim) for rim in piece.rims])


def _drawn_plate(number: int) -> list[Sectors]:
    """A plate of even or grainy surfaces, its lip of core of any width or none, from several starts."""
    rng = np.random.default_rng([SEED, number])
    drawn, scene = _drawn(rng), f"{DRAWN_ID}{number}"
    starts = [_beside_truth(drawn, rng), *(_beside_truth(_varied(drawn, rng), rng) for _ in range(2))]
    return [_read(start, scene, rng, found=n == 0) for n, start in enumerate(starts)]


def _drawn(rng: np.random.Generator) -> _Piece:
    radius = math.exp(rng.uniform(math.log(60), math.log(330)))
    side = round(2.8 * radius)
    ratio, flat, turn = rng.uniform(0.55, 0.88), rng.uniform(0.7, 1), rng.uniform(0, 180)
    cx, cy = side / 2 + rng.uniform(-1, 1, 2)
    outer = Ellipse(cx, cy, 2 * radius, 2 * radius * flat, turn)
    inner = Ellipse(cx, cy, outer.major * ratio, outer.minor * ratio, turn)
    x, y = np.meshgrid(np.arange(side), np.arange(side))
    rho = outer.radius_of(x, y).astype(np.float32)
    round_it = np.arctan2(y - cy, x - cx)

    def covers(up_to: float | NDArray[np.floating]) -> NDArray[np.float32]:
        """Share of each pixel that lies within a radius, 0..1."""
        share = np.clip((up_to - rho) * radius * math.sqrt(flat) + 0.5, 0, 1)
        return np.asarray(share[..., None], np.float32)

    lips = [0.0 if rng.random() < 0.5 else rng.uniform(0.004, 0.035) for _ in range(2)]
    tooth = np.cos(rng.integers(18, 60) * round_it) > 0
    reach = rng.uniform(0.03, 0.1) * tooth
    ends = [1 + lips[0], ratio - lips[1]]
    toothed = int(rng.integers(3))  # outside, inside, or none of the two
    edges = [ends[0] + (reach if toothed == 0 else 0), ends[1] - (reach if toothed == 1 else 0)]
    bench, core, face = (
        rng.uniform(25, 225) + rng.normal(0, 18, 3) + _grain(side, rng) for _ in ("bench", "core", "face")
    )
    picture = bench
    for surface, (most, least) in ((core, edges), (face, (1.0, ratio))):
        on = covers(most) - covers(least)
        picture = picture * (1 - on) + surface * on
    picture = cv2.GaussianBlur(picture, (0, 0), rng.uniform(0.5, 1.0)) + rng.normal(0, 2, picture.shape)
    rims = [outer, inner]
    teeth = [rng.uniform(0.5, 1.5) if toothed == k else 0.0 for k in range(2)]
    found = Face(outer, inner, float(rng.uniform(0, 2)), (teeth[0], teeth[1]))
    return _Piece(np.clip(picture, 0, 255).round().astype(np.uint8), found, rims)


def _grain(side: int, rng: np.random.Generator) -> NDArray[np.float32]:
    """Changes of brightness over a square, of one size; one in three surfaces has none."""
    if rng.random() < 1 / 3:
        return np.zeros((side, side, 1), np.float32)
    soft = cv2.GaussianBlur(rng.normal(0, 1, (side, side)).astype(np.float32), (0, 0), rng.uniform(0.6, 4))
    return (rng.uniform(1, 12) / soft.std() * soft)[..., None]


def _beside_truth(piece: _Piece, rng: np.random.Generator) -> _Piece:
    """The same, read from its true rims changed a little by chance."""
    by = max(0.01, 1 / piece.face.radius) * SPREAD
    outer, inner = (changed(rim, rng.normal(0, by)) for rim in piece.rims)
    return replace(piece, face=replace(piece.face, outer=outer, inner=inner))


def _read(piece: _Piece, scene: str, rng: np.random.Generator, *, found: bool) -> Sectors:
    readings, in_view = rim_readings(piece.rgb8, piece.face)
    rays = rays_of(piece.face, MIDDLE, FROM_RIM).reshape(SECTORS, len(SIDES), PLACES, 2)
    off = []
    for k, (sign, rim) in enumerate(zip(SIDES, piece.rims, strict=True)):
        # Along a ray the true rim's own radius is nearly linear: the place where it passes 1.
        radius = rim.radius_of(rays[:, k, :, 0], rays[:, k, :, 1])
        off += [np.interp(0, sign * (line - 1), FROM_RIM, -np.inf, np.inf) for line in radius]
    away = np.array(off)
    counts = in_view.ravel() & np.isfinite(away)
    if not found:
        counts &= rng.random(len(counts)) < KEPT
    return Sectors(readings.astype(np.float16), away, counts, scene, found)


if __name__ == "__main__":
    main()
