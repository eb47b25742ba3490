"""Shared fixtures and the hypothesis profile."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from diag.knowledge.base import Knowledge
from diag.knowledge.load import knowledge_folder, load

settings.register_profile(
    "ci", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=60
)
settings.load_profile("ci")

SMALL = Path(__file__).parent / "data" / "small"


@pytest.fixture(scope="session")
def small() -> Knowledge:
    """A knowledge base small enough to compute by hand."""
    return load([SMALL])


@pytest.fixture(scope="session")
def whole() -> Knowledge:
    """The knowledge base as shipped."""
    return load([knowledge_folder()])
