"""Grade the demo with the lowest and the newest dependencies that are allowed, and compare the documents.

``python -m tests.versions --out FOLDER`` makes a virtual environment for each with uv (``pip install uv``),
runs the quick tests in it and grades demo photos, on one thread and on many. Takes minutes and a network.
"""

import argparse
import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]
RESOLUTIONS = {"lowest": "lowest-direct", "newest": "highest"}
QUICK = ("tests/stages", "tests/published")
PHOTOS = ("direct-pack-1.jpg", "direct-pack-2.jpg")
REFERENCE = "reference-tan.jpg"
THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "OPENCV_FOR_THREADS_NUM")


def main() -> int:
    """Make both environments; 1 when a test fails or documents of one environment differ."""
    parser = argparse.ArgumentParser("python -m tests.versions", description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the environments")
    parser.add_argument("--no-tests", action="store_true", help="compare documents only")
    args = parser.parse_args()
    wrong = False
    for name, resolution in RESOLUTIONS.items():
        python = _made(args.out / name, resolution)
        documents = {threads: _graded(python, threads) for threads in (1, 4)}
        same = len(set(documents.values())) == 1
        print(
            f"{name}: document {min(documents.values())[:12]}, {'the same' if same else 'NOT the same'} on "
        )
        print(f"  {' and '.join(map(str, documents))} threads", flush=True)
        wrong |= not same
        if not args.no_tests:
            status = subprocess.run([python, "-m", "pytest", "-q", *QUICK], cwd=ROOT, check=False).returncode
            print(f"{name}: tests ended with {status}", flush=True)
            wrong |= status != 0
    return wrong


def _made(folder: Path, resolution: str) -> Path:
    """The Python of an environment with the project and what its tests need."""
    python = folder / "bin" / "python"
    if not python.exists():
        subprocess.run(["uv", "venv", "--python", sys.executable, folder], check=True)
    install = ["uv", "pip", "install", "--python", python, "--resolution", resolution, "-e", f"{ROOT}[test]"]
    subprocess.run(install, check=True)
    return python


def _graded(python: Path, threads: int) -> str:
    """The sha256 of the document of a demo pack."""
    photos = [str(ROOT / "demo_images" / name) for name in PHOTOS]
    reference = str(ROOT / "demo_images" / REFERENCE)
    command = [python, "-m", "wearview.cli", "grade", *photos, "--reference", reference, "--json", "-"]
    environment = os.environ | dict.fromkeys(THREADS, str(threads))
    told = subprocess.run(command, cwd=ROOT, env=environment, check=True, stdout=subprocess.PIPE).stdout
    return hashlib.sha256(told).hexdigest()


if __name__ == "__main__":
    sys.exit(main())
