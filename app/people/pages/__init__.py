"""Sign-in, sign-out, and the people of the shop."""

from fastapi import APIRouter

from app.people.pages import (
    account,
    authorisations,
    machine_tokens,
    people,
    person,
    sign_in,
    unlocking,
)

router = APIRouter()
router.include_router(sign_in.router)
router.include_router(unlocking.router)
router.include_router(account.router)
router.include_router(people.router)
# Own words before user names: /people/tokens is asked for before /people/{username}.
router.include_router(authorisations.router)
router.include_router(machine_tokens.router)
router.include_router(person.router)
