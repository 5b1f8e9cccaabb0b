"""The pages of furnaces, sensors, gauges, testers and reference blocks."""

from fastapi import APIRouter

from app.equipment.pages import board, furnaces, instruments, registration, reviews

router = APIRouter()
# Addresses with a fixed word come before those that take any identity.
for part in (board, registration, reviews, furnaces, instruments):
    router.include_router(part.router)
