"""The engine and the Alder Flat calls that the write-up tests only read."""

from __future__ import annotations

import pytest
from writeup import alder_flat

from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.writeup.story import tell
from diag.writeup.story.model import Story


@pytest.fixture(scope="session")
def engine(whole: Knowledge) -> Engine:
    """One engine on the whole knowledge."""
    return Engine(whole, counter=True)


@pytest.fixture(scope="session")
def good(engine: Engine) -> alder_flat.Case:
    """The good story as a call; never record into it."""
    return alder_flat.good(engine)


@pytest.fixture(scope="session")
def story(good: alder_flat.Case) -> Story:
    """The good call, told."""
    return tell(good.call)
