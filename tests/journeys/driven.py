"""What a person does on the page and what they see, through Streamlit's own test driver."""

from pathlib import Path

from tests import documents
from wearview import store as record
from wearview.ui import bench, tray

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo_images"
NAME = tray.ElementName("Job 7", "Forward")


def run(app):
    app.run()
    assert not app.exception
    return app


def press(app, key):
    app.button(key=key).click()
    return run(app)


def turn_to(app, page):
    app.switch_page(str(ROOT / page))
    return run(app)


def widget(app, kind, name):
    """A widget of a form whose keys change each time the form is used."""
    [found] = [w for w in getattr(app, kind) if w.key and w.key.rpartition(" ")[0] == name]
    return found


def photo(name, called=None):
    return called or name, (DEMO / name).read_bytes(), "image/jpeg"


def give(app, *photos):
    widget(app, "file_uploader", "photos").set_value(list(photos))
    return run(app)


def give_clean(app, clean):
    widget(app, "file_uploader", "clean").set_value(clean)
    return run(app)


def graded(app, url):
    """Have the pack graded and wait for it."""
    press(app, "grade")
    bench.bench_of(url).wait(NAME)
    return run(app)


def shown(app):
    """The page's HTML, texts and alerts, as one text."""
    alerts = [*app.error, *app.warning, *app.info, *app.success]
    return "\n".join(str(element.value) for element in [*app.get("html"), *app.markdown, *alerts])


def element_of(url, teardown="Job 7"):
    [element] = record.get_teardown(record.open_store(url), teardown).elements
    return element


def lying(url):
    return [photo.name for photo in tray.read_tray(record.open_store(url), NAME).photos]


def add_hot_pack(url):
    """A stored teardown of three plates."""
    store = record.open_store(url)
    record.new_teardown(store, "Job 7", unit="four-speed", wish="make it fresh")
    document, photos = documents.hot_pack()
    files = [record.GradedPhoto(data, data) for data in photos.values()]
    record.add_grading(store, "Job 7", "Forward", document, files)
    return document["pack"]["order"]
