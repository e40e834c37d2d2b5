"""Packs graded anew in a minute by one worker and by two: ``python -m tests.benchmarks.archive``."""

import os
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.photos import write_photo
from wearview.regrade import regrade, workers
from wearview.regrade.packs import Pack, grade_pack
from wearview.shop import shop_settings

PACKS = 16  # of one 12-megapixel photo of a plate and its reference each
REFERENCE = "reference-tan.jpg"


def main() -> int:
    """Make an archive, grade it anew with one worker and with two, print."""
    print(f"load of this machine before: {os.getloadavg()[0]:.1f} (figures count only near 0)")
    with tempfile.TemporaryDirectory() as folder:
        archive = Path(folder) / "archive"
        for number in range(PACKS):
            pack = archive / f"pack-{number:03}"
            pack.mkdir(parents=True)
            write_photo(REFERENCE, pack / "1.jpg", seed=number)
            write_photo(REFERENCE, pack / "reference.jpg", seed=1000)
        one = Pack("pack-000", (f"{archive}/pack-000/1.jpg",), f"{archive}/pack-000/reference.jpg")
        rules = shop_settings().rules.id
        grade_pack(one, rules)  # loads what it needs
        start = time.perf_counter()
        grade_pack(one, rules)
        floor = time.perf_counter() - start
        print(f"one pack in this process, on one core: {floor:.2f} s, {60 / floor:.1f} packs a minute")
        rates = []
        for count in (1, 2):
            with workers(count) as client:
                client.run(grade_pack, one, rules)
                start = time.perf_counter()
                done = regrade(str(archive), f"sqlite:///{folder}/{count}.sqlite", client, batch=4)
                rates.append(60 * done.stored / (time.perf_counter() - start))
            print(f"{count} workers: {rates[-1]:.1f} packs a minute, {rates[-1] / rates[0]:.2f} of one")
    return 0


if __name__ == "__main__":
    sys.exit(main())
