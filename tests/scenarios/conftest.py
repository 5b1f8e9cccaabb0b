"""The shop floor that every scenario begins on."""

import sys

import pytest
from fastapi import FastAPI

from app.database import Database
from app.web.page import now
from tests.scenarios.floor import Clock, Floor
from tests.visits import Visit


@pytest.fixture
def clock(app: FastAPI, monkeypatch: pytest.MonkeyPatch) -> Clock:
    """The clock that every page reads, standing in the scenario's own days."""
    clock = Clock()
    for name, module in list(sys.modules.items()):
        if name.startswith("app.") and getattr(module, "now", None) is now:
            monkeypatch.setattr(module, "now", clock)
    return clock


@pytest.fixture
def floor(database: Database, visit: Visit, clock: Clock) -> Floor:
    """The invented shop, with nobody signed in."""
    return Floor(database, visit, clock)
