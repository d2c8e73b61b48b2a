"""Steps are watched at work, not at drawing."""

import pytest


@pytest.fixture(autouse=True)
def pictures(request):
    """Blank, but for tests that ask for drawn ones."""
    if "drawn_pictures" not in request.fixturenames:
        request.getfixturevalue("blank_pictures")
