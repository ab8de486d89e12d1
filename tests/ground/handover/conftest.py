"""One chain for all tests of the hand-over; who breaks it takes a copy."""

import pytest

from tests.support.made_chain import Chain, make_chain


@pytest.fixture(scope="session")
def whole_chain(tmp_path_factory: pytest.TempPathFactory) -> Chain:
    return make_chain(tmp_path_factory.mktemp("chain"))
