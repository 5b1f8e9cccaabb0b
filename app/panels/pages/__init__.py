"""The pages of lots, panels, coupons, custody and places, and the index of the shop."""

from fastapi import APIRouter

from app.panels.pages import material, places

router = APIRouter()
router.include_router(material.router)
router.include_router(places.router)
