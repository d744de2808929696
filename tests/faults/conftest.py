"""What an undisturbed search finds, once for all tests of this folder."""

import pytest

from tests.faults import hurt


@pytest.fixture(scope="session")
def wanted(tmp_path_factory):
    """Checksum of the archive of an undisturbed search."""
    return hurt.undisturbed(tmp_path_factory.mktemp("undisturbed"))
