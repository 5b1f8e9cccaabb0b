"""The pages on which panels are decided."""

from fastapi import APIRouter

from app.release.pages import (
    decision,
    descent,
    hold_tags,
    holds,
    lot_corrections,
    nonconformance,
    nonconformance_after,
    paper,
    recalls,
)

router = APIRouter()
router.include_router(decision.router)
router.include_router(descent.router)
router.include_router(holds.router)
router.include_router(hold_tags.router)
router.include_router(lot_corrections.router)
router.include_router(nonconformance.router)
router.include_router(nonconformance_after.router)
router.include_router(paper.router)
router.include_router(recalls.router)
