"""What every test needs: a data folder of its own, and quiet from one development dependency."""

from collections.abc import Iterator

import pytest

from tests.databases import empty_url, made_database, made_file, postgres_server, store

__all__ = ["empty_url", "made_database", "made_file", "postgres_server", "store"]


def pytest_configure(config: pytest.Config) -> None:
    # Warnings are errors here, and colour-science warns on import when matplotlib is absent; we draw no
    # graphs.
    config.addinivalue_line("filterwarnings", 'ignore:"Matplotlib" related API features are not available')


@pytest.fixture(autouse=True, scope="session")
def _own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test reads or writes the linings, rules or record of whoever runs it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield
