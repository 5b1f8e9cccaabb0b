"""Filling the demonstration: the mappings its loggers' exports are read by."""

import hashlib
import json
from datetime import datetime, timedelta
from functools import partial

from app.requirements import queries as requirement_queries
from app.requirements import service as requirements
from app.requirements.records import RequirementKind
from app.requirements.service import Named
from seed_demo.diary import FIRST_DAY, DemoShop
from seed_demo.furnace_physics import FurnaceRun
from seed_demo.logger_exports import sheet_export, text_export
from seed_demo.scenario_pyrometry import MAPPINGS, SHEET_MAPPING, DemoMapping

TRIED_ON = "L-206"
"""The load whose run the mappings were tried on."""


def enter_mappings(shop: DemoShop, run: FurnaceRun, password: str) -> None:
    """Each mapping is written on the first day and verified after a trial on exports of ``run``."""
    for mapping in MAPPINGS:
        at = shop.day(FIRST_DAY, 13, 20)
        shop.enter(at, partial(_write, shop, mapping))
        shop.enter(at + timedelta(hours=1), partial(_verify, shop, mapping, run, password))


def _named(mapping: DemoMapping) -> Named:
    return Named(RequirementKind.LOGGER_MAPPING, mapping.code, mapping.revision)


def _write(shop: DemoShop, mapping: DemoMapping, at: datetime) -> None:
    requirements.write_mapping(
        shop.database,
        code=mapping.code,
        revision=mapping.revision,
        paper=json.dumps(mapping.paper),
        filename=f"{mapping.code}.json",
        source_document=mapping.source_document,
        by=shop.people[mapping.written_by],
        at=at,
    )


def _verify(
    shop: DemoShop, mapping: DemoMapping, run: FurnaceRun, password: str, at: datetime
) -> None:
    """Try it on an export, tick every part, and sign."""
    named = _named(mapping)
    with shop.database.read() as session:
        found = requirement_queries.named(
            session, named.code, kind=named.kind, revision=named.revision
        )
    anchors = [part.anchor for part in requirement_queries.parts_of(found[-1])]
    is_sheet = mapping is SHEET_MAPPING
    export = sheet_export(run, shop.zone) if is_sheet else text_export(run, shop.zone)
    name = f"trial-{mapping.code}.{'xlsx' if is_sheet else 'csv'}"
    requirements.verify(
        shop.database,
        named,
        compared=[*anchors, "sample"],
        in_force_from=None,
        password=password,
        by=shop.people[mapping.verified_by],
        at=at,
        sample=[(name, hashlib.sha256(export).hexdigest())],
    )
