"""The demo photos: one teardown at an invented shop, told in order."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from tests.scenes.catalogue import PartSpec, Scene
from tests.scenes.facts import truth_of
from tests.scenes.look import Look
from tests.scenes.render import cast, render
from tests.scenes.shoot import build, face_union, photograph, write_whole
from tests.scenes.skin import BAND, FRICTION, REACTION, STEEL

SIZE = (2000, 1500)
TEARDOWN = Path(__file__).with_name("teardown.toml")
TAN, GREEN, RED = "tan paper", "leaf green", "brick red-brown"
DIRECT, FORWARD, OVERDRIVE, LOW = 811, 824, 831, 842  # shape seeds: one pack, one set of outlines


def _friction(level: int, lining: str = TAN, **look: object) -> PartSpec:
    return PartSpec(FRICTION, level, lining, Look(**{"grooves": "none", "oil": False, **look}))  # type: ignore[arg-type]


def _steel(level: int, **look: object) -> PartSpec:
    return PartSpec(STEEL, level, None, Look(**look))  # type: ignore[arg-type]


def _photo(
    name: str, seed: int, minute: int, parts: tuple[PartSpec, ...], pack: int, **more: object
) -> Scene:
    settings = {
        "bench": "wood",
        "light": "window",
        "layout": "row",
        "neutral": "white paper",
        "slant_deg": 12.0,
        "fill": 0.9,
        "size": SIZE,
        "outer_r": 64.0,
        "wide_gamut": False,
        "orientation": 1,
        **more,
    }
    taken = f"2025:06:17 {9 + minute // 60:02d}:{minute % 60:02d}:{seed % 60:02d}"
    return Scene(id=name, seed=seed, tuned=True, parts=parts, shape_seed=pack, taken_at=taken, **settings)  # type: ignore[arg-type]


def demo_photos() -> tuple[Scene, ...]:
    """The photos in the order in which they were taken."""
    unused = {"clean": True, "fill": 0.62, "slant_deg": 6.0}
    return (
        _photo("reference-tan", 9101, 2, (_friction(0, ink=False),), FORWARD, **unused, clutter=("coin",)),
        _photo(
            "forward-pack-1",
            9102,
            11,
            tuple(_friction(0) for _ in range(5)),
            FORWARD,
            clutter=("socket", "screwdriver", "snap ring"),
        ),
        _photo(
            "forward-pack-2",
            9103,
            13,
            tuple(_steel(0, spots=0) for _ in range(5)),
            FORWARD,
            clutter=("ball bearing", "jar lid"),
            slant_deg=9.0,
        ),
        _photo(
            "direct-pack-1",
            9104,
            24,
            (
                _steel(0, spots=0),
                _friction(0),
                _steel(0, spots=0),
                _friction(0),
                _steel(1, spots=0),
                _friction(1, by_glaze=False),
            ),
            DIRECT,
            clutter=("wrench", "needle ring"),
            slant_deg=17.0,
        ),
        _photo(
            "direct-pack-2",
            9105,
            26,
            (_steel(2, spots=0), _friction(2, by_glaze=False), _steel(3, spots=0), _friction(4)),
            DIRECT,
            clutter=("wrench", "bearing race", "coin"),
            slant_deg=15.0,
        ),
        _photo(
            "direct-pack-3",
            9106,
            28,
            (PartSpec(REACTION, 3, None, Look(spots=8)),),
            DIRECT,
            fill=0.7,
            clutter=("needle ring", "rag"),
            slant_deg=10.0,
        ),
        _photo(
            "reference-green",
            9107,
            40,
            (_friction(0, GREEN, ink=False, grooves="waffle"),),
            OVERDRIVE,
            **unused,
            bench="paper towel",
            light="tubes",
            neutral="grey card",
            outer_r=58.0,
        ),
        _photo(
            "overdrive-pack-1",
            9108,
            47,
            tuple(
                _friction(k, GREEN, grooves="waffle", heat=h, by_glaze=False)
                for k, h in (
                    (0, "even"),
                    (1, "outer"),
                    (2, "middle"),
                    (3, "outer"),
                    (2, "inner"),
                    (1, "even"),
                )
            ),
            OVERDRIVE,
            layout="leaning",
            bench="paper towel",
            light="tubes",
            neutral="grey card",
            clutter=("tape roll", "washer"),
            outer_r=58.0,
            slant_deg=20.0,
        ),
        _photo(
            "overdrive-pack-2",
            9109,
            49,
            tuple(_steel(k, spots=0) for k in (0, 1, 2, 3, 1)),
            OVERDRIVE,
            bench="paper towel",
            light="tubes",
            neutral="grey card",
            clutter=("coin", "cable"),
            outer_r=58.0,
            slant_deg=8.0,
        ),
        _photo(
            "reference-red-brown",
            9110,
            61,
            (_friction(0, RED, ink=False),),
            LOW,
            **unused,
            bench="cardboard",
            light="led lamp",
        ),
        _photo(
            "intermediate-band",
            9111,
            66,
            (PartSpec(BAND, 2, RED, Look(grooves="slanted", heat="end", ink=False, by_glaze=False)),),
            853,
            bench="cardboard",
            light="led lamp",
            clutter=("screwdriver", "snap ring"),
            slant_deg=18.0,
        ),
        _photo(
            "low-reverse-pack-1",
            9112,
            75,
            tuple(_friction(k, RED, by_glaze=False) for k in (3, 4, 3, 4)),
            LOW,
            bench="cardboard",
            light="led lamp",
            clutter=("ball bearing", "socket"),
            outer_r=72.0,
            orientation=6,
            wide_gamut=True,
            apply_end="top",
            size=(1500, 2000),
        ),
        _photo(
            "low-reverse-pack-blurred",
            9113,
            77,
            tuple(_friction(k, RED) for k in (3, 4)),
            LOW,
            bench="cardboard",
            light="led lamp",
            outer_r=72.0,
            defect="blurred",
        ),
        _photo(
            "pump-plate-too-dark",
            9114,
            83,
            (_steel(1, spots=0),),
            861,
            bench="cardboard",
            light="led lamp",
            defect="too dark",
            clutter=("wrench",),
            fill=0.7,
        ),
    )


def make_demo(out: Path, only: str | None, samples: int, variant: str, again: bool) -> None:
    """Render the photos into ``out`` and lay the teardown's description beside them."""
    out.mkdir(parents=True, exist_ok=True)
    write_whole(out / TEARDOWN.name, TEARDOWN.read_bytes())
    for scene in demo_photos():
        path = out / f"{scene.id}.jpg"
        if (only and scene.id not in only.split(",")) or (path.exists() and not again):
            continue
        start = time.perf_counter()
        built = build(scene)
        _, masks = truth_of(built, cast(built.stage, variant))
        photo, _ = photograph(built, render(built.stage, samples, scene.seed, variant), face_union(masks))
        write_whole(path, photo)
        print(f"{scene.id} {time.perf_counter() - start:.1f} s", file=sys.stderr, flush=True)
