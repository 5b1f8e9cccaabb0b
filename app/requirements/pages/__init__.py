"""The pages of tables, cycles, procedures and mappings."""

from fastapi import APIRouter

from app.requirements.pages import mapping, papers, procedure, shown

router = APIRouter()
for part in (papers, procedure, mapping, shown):
    router.include_router(part.router)
