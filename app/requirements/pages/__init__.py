"""The pages of tables, cycles, procedures, mappings and correction tables."""

from fastapi import APIRouter

from app.requirements.pages import (
    corrections,
    keyed,
    mapping,
    orders,
    papers,
    procedure,
    sheet_import,
    shown,
)

router = APIRouter()
for part in (papers, sheet_import, procedure, mapping, corrections, orders, keyed, shown):
    router.include_router(part.router)
