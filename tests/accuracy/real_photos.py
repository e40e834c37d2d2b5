"""Count parts found in real pictures that hold none: ``python -m tests.accuracy.real_photos``.

The pictures are those inside the wheels of scikit-image and scikit-learn; none of them shows a clutch part.
They are few, so the count is printed and no rate is claimed.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path

import cv2

from wearview.errors import PhotoError
from wearview.parts import find_parts
from wearview.photo import read_photo

FOLDERS = (("skimage", "data"), ("sklearn", "datasets/images"))
SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff")


def real_pictures() -> Iterator[Path]:
    """The picture files inside the two wheels."""
    for package, folder in FOLDERS:
        spec = find_spec(package)
        if spec is not None and spec.origin is not None:
            files = sorted((Path(spec.origin).parent / folder).iterdir())
            yield from (file for file in files if file.suffix.lower() in SUFFIXES)


def parts_in(file: Path) -> list[str] | None:
    """Kinds of what is taken for a part in a picture; None where it is no photo that the program reads."""
    try:
        photo = read_photo(file)
    except PhotoError:
        return None
    return [part.kind for part in find_parts(photo)]


def main() -> int:
    """Print every picture in which something is taken for a part, and the count."""
    cv2.setNumThreads(1)
    found = {file.name: parts_in(file) for file in real_pictures()}
    read = {name: parts for name, parts in found.items() if parts is not None}
    for name, parts in read.items():
        if parts:
            print(f"  {name}: {', '.join(parts)}")
    false = sum(len(parts) for parts in read.values())
    print(f"real pictures without a part: {len(read)} looked at, {len(found) - len(read)} not readable")
    print(f"false parts: {false} in N = {len(read)} pictures; too few for a rate")
    return 0


if __name__ == "__main__":
    sys.exit(main())
