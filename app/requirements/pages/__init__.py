"""The pages of tables, cycles, procedures, mappings and correction tables."""

from fastapi import APIRouter

from app.requirements.pages import corrections, mapping, papers, procedure, shown

router = APIRouter()
for part in (papers, procedure, mapping, corrections, shown):
    router.include_router(part.router)
