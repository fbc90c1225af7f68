"""What the tests of the site share: a database server of their own."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from tests.site.postgres import program, server


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The address of a real PostgreSQL server, the database's name left open."""
    if program("postgres") is None:
        said = "postgresql is missing: install it (on Debian: apt install postgresql)"
        if os.environ.get("CI") == "true":
            pytest.fail(said, pytrace=False)
        pytest.skip(said)
    with server() as address:
        yield address
