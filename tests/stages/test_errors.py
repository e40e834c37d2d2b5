"""The exception tree: broad classes to catch, one printable line each."""

import copy
import inspect
import pickle

import pytest

from wearview import errors
from wearview.errors import (
    CallError,
    CleanReferenceError,
    ModelsError,
    OutputError,
    PhotoError,
    StoreError,
    WearviewError,
)

ALL = [kind for _, kind in inspect.getmembers(errors, inspect.isclass)]


@pytest.mark.parametrize("kind", ALL)
def test_every_error_can_be_caught_as_ours(kind):
    assert issubclass(kind, WearviewError)


@pytest.mark.parametrize("kind", [PhotoError, CallError, CleanReferenceError, ModelsError])
def test_what_is_wrong_with_a_value_is_a_value_error(kind):
    assert issubclass(kind, ValueError)


@pytest.mark.parametrize("kind", [OutputError, StoreError])
def test_what_could_not_be_written_is_an_os_error(kind):
    assert issubclass(kind, OSError)


def test_a_bad_reference_is_a_wrong_call():
    assert issubclass(CleanReferenceError, CallError)


@pytest.mark.parametrize("kind", ALL)
def test_every_error_prints_file_problem_and_remedy(kind):
    assert str(kind("a.jpg", "gone", "Look again")) == "a.jpg: gone. Look again."


@pytest.mark.parametrize("kind", ALL)
def test_without_a_remedy_nothing_dangles(kind):
    assert str(kind("a.jpg", "gone")) == "a.jpg: gone."


@pytest.mark.parametrize("name", ["a\nb.jpg", "a\rb.jpg", "\x1b[31mred.jpg", "a\u2028b.jpg", "\udcff.jpg"])
@pytest.mark.parametrize("kind", ALL)
def test_a_strange_name_cannot_break_the_line_or_the_terminal(kind, name):
    line = str(kind(name, "gone"))
    assert line.isprintable()
    assert line.encode("utf-8")


@pytest.mark.parametrize("kind", ALL)
def test_an_error_survives_a_trip_between_processes(kind):
    error = kind("a.jpg", "gone", "Look again")
    for twin in (pickle.loads(pickle.dumps(error)), copy.copy(error)):
        assert (type(twin), str(twin)) == (kind, str(error))


def test_the_tree_in_the_docstring_names_every_error():
    assert all(kind.__name__ in errors.__doc__ for kind in ALL)
