"""Measure the demo's clean linings for `models/linings.toml`: `python -m tests.training.linings`.

Each of the demo's three photos of an unused plate goes through the program as a clean reference does.
"""

import argparse
from datetime import date
from pathlib import Path

from wearview.files import write_whole
from wearview.pipeline import grade_photos
from wearview.settings import load_settings

PHOTOS = Path(__file__).parents[2] / "demo_images"
NAMES = ("tan", "green", "red-brown")
HEAD = """\
# Clean colours of the demo's invented linings, measured by this program from the demo's own photos of
# unused plates. THEY ARE NO REFERENCE FOR REAL PLATES: take a photo of a clean plate of the same lining
# instead.
# Made by `python -m tests.training.linings`.
#
# lab: CIELAB, D65, 2 degrees, median of the face. spread: half width of the 90 % interval between clean
# plates, Delta E. grain: contrast of the fibre texture in per cent, `nan` where it was not resolved.
# light_uncertainty: half width of the 90 % interval of the photo's light, Delta E.
"""


def main() -> None:
    """Measure and write the file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="default: the file in models/")
    parser.add_argument("--date", type=date.fromisoformat, default=date.today())
    args = parser.parse_args()
    settings = load_settings()
    entries = [_entry(name, args.date) for name in NAMES]
    text = "\n".join([HEAD, *entries])
    write_whole(args.out or settings.models / "linings.toml", text.encode("utf-8"))
    print(text)


def _entry(name: str, day: date) -> str:
    photo = PHOTOS / f"reference-{name}.jpg"
    graded = grade_photos([str(photo)], load_settings(), reference=str(photo))
    clean, light = graded.reference, graded.photos[0].light
    assert clean.lab_median is not None
    assert light is not None
    lab = ", ".join(f"{value:.2f}" for value in clean.lab_median)
    return f"""\
["demo-{name}"]
lab = [{lab}]
spread = {clean.spread:.2f}
grain = {clean.grain:.3f}
light_uncertainty = {clean.light_uncertainty:.2f}
how = "demo_images/{photo.name}, unused plate, dry, light from {light.method}"
date = {day}
"""


if __name__ == "__main__":
    main()
