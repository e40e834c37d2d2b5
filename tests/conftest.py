"""What every test needs: nothing but quiet from one development dependency."""

import pytest

from tests.databases import empty_url, made_database, made_file, postgres_server, store

__all__ = ["empty_url", "made_database", "made_file", "postgres_server", "store"]


def pytest_configure(config: pytest.Config) -> None:
    # Warnings are errors here, and colour-science warns on import when matplotlib is absent; we draw no
    # graphs.
    config.addinivalue_line("filterwarnings", 'ignore:"Matplotlib" related API features are not available')
