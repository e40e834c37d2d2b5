"""A command does not load what it does not use."""

import subprocess
import sys

from tests.versions import ROOT

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
