"""A command does not load what it does not use."""

import os
import subprocess
import sys

from tests.versions import ROOT, THREADS

# Each takes half as long to load as a photo to grade, or longer. A record, a mat, a stained steel needs one.
UNUSED = ("scipy", "sqlalchemy", "sklearn", "skimage", "streamlit", "typst", "jinja2")


def test_grading_without_a_record_loads_none_of_the_large_libraries():
    demo = ROOT / "demo_images"
    photo, clean = str(demo / "forward-pack-1.jpg"), str(demo / "reference-tan.jpg")
    script = (
        "import sys; from wearview.cli import main;"
        f"status = main(['grade', {photo!r}, '--reference', {clean!r}]);"
        f"print('loaded:', sorted(set({UNUSED}) & set(sys.modules)), status)"
    )
    told = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout
    assert told.splitlines()[-1] == "loaded: [] 0"


def test_no_second_thread_waits_for_small_matrices():
    demo = ROOT / "demo_images"
    script = (
        "import sys; from wearview.cli import main;"
        f"status = main(['grade', {str(demo / 'reference-tan.jpg')!r}]);"
        "from threadpoolctl import threadpool_info;"
        "pools = [p for p in threadpool_info() if p['internal_api'] == 'openblas'];"
        "print('threads:', max([p['num_threads'] for p in pools], default=1), status)"
    )
    environment = {name: value for name, value in os.environ.items() if name not in THREADS}
    told = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, check=True, capture_output=True, text=True, env=environment
    ).stdout
    assert told.splitlines()[-1] == "threads: 1 0"
