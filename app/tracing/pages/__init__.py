"""Pages that read across all subjects and decide nothing."""

from fastapi import APIRouter

from app.tracing.pages import dossier, find, panel_list, today, trail

router = APIRouter()
router.include_router(today.router)
router.include_router(find.router)
router.include_router(panel_list.router)
router.include_router(dossier.router)
router.include_router(trail.router)
