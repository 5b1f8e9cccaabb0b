"""The loads' pages."""

from fastapi import APIRouter

from app.loads.pages import (
    bag,
    live,
    live_sending,
    load,
    logger_tokens,
    photographs,
    plan,
    record,
    record_shown,
    run,
    trouble,
    unwrapping,
)

router = APIRouter()
# Addresses with a fixed word come before those that take any identity.
for part in (
    live_sending,
    logger_tokens,
    plan,
    photographs,
    record,
    record_shown,
    live,
    bag,
    run,
    trouble,
    unwrapping,
    load,
):
    router.include_router(part.router)
