import pytest
from page_support import served


@pytest.fixture
def page(tmp_path):
    found = served(tmp_path)
    yield found
    found.server.close()
