"""What every test needs: a data folder of its own, and quiet from one development dependency."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.databases import empty_url, made_database, made_file, postgres_server, store

__all__ = ["empty_url", "made_database", "made_file", "postgres_server", "store"]


def pytest_configure(config: pytest.Config) -> None:
    # Warnings are errors here, and colour-science warns on import when matplotlib is absent; we draw no
    # graphs.
    config.addinivalue_line("filterwarnings", 'ignore:"Matplotlib" related API features are not available')


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """One process for named files, or tests in them: it starts at once, prints and stops in a debugger."""
    named = (Path(word.partition("::")[0]) for word in config.args)
    return 0 if all((config.invocation_params.dir / path).is_file() for path in named) else None


@pytest.fixture(autouse=True, scope="session")
def _own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test reads or writes the linings, rules or record of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield
