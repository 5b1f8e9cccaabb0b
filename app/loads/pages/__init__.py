"""The loads' pages."""

from fastapi import APIRouter

from app.loads.pages import load, plan, record

router = APIRouter()
# Addresses with a fixed word come before those that take any identity.
for part in (plan, record, load):
    router.include_router(part.router)
