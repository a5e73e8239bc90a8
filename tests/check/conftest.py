"""What the tests of a dried repair start from."""

import pytest

from colormatch.workshop import Workshop, starter_workshop


@pytest.fixture(scope="session")
def workshop() -> Workshop:
    return starter_workshop()
