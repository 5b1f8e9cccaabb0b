"""The pages of furnaces, sensors, gauges, thermometers, testers and reference blocks."""

from fastapi import APIRouter

from app.equipment.pages import furnaces, instruments, quarantine, registration, reviews

router = APIRouter()
# Addresses with a fixed word come before those that take any identity.
for part in (registration, reviews, furnaces, quarantine, instruments):
    router.include_router(part.router)
