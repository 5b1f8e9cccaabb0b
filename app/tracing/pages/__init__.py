"""Pages that read across all subjects and decide nothing."""

from fastapi import APIRouter

from app.tracing.pages import (
    affected,
    dossier,
    equipment,
    find,
    load,
    machine,
    orders,
    panel_list,
    rests_on,
    today,
    what_if,
)

router = APIRouter()
router.include_router(today.router)
router.include_router(find.router)
router.include_router(affected.router)
router.include_router(equipment.router)
router.include_router(panel_list.router)
router.include_router(dossier.router)
router.include_router(load.router)
router.include_router(machine.router)
router.include_router(orders.router)
router.include_router(rests_on.router)
router.include_router(what_if.router)
