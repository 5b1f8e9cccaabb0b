"""Accounts, authorisations, machines' tokens, sign-in and signatures."""

from app.people.service.accounts import (
    AccountAsStated,
    account_digest,
    add_person,
    change_person,
    close_account,
    identity_number_of,
    reopen_account,
)
from app.people.service.authorisations import (
    LONGEST_YEARS,
    Grant,
    end_authorisation,
    grant_authorisation,
    last_day_at_most,
)
from app.people.service.machine_tokens import end_machine_token, issue_machine_token
from app.people.service.own_password import give_first_password, set_own_password
from app.people.service.passwords import SHORTEST_PASSWORD
from app.people.service.signatures import Proof, re_authenticate, sign
from app.people.service.signing_in import keep_signed_in, sign_in, sign_out

__all__ = [
    "LONGEST_YEARS",
    "SHORTEST_PASSWORD",
    "AccountAsStated",
    "Grant",
    "Proof",
    "account_digest",
    "add_person",
    "change_person",
    "close_account",
    "end_authorisation",
    "end_machine_token",
    "give_first_password",
    "grant_authorisation",
    "identity_number_of",
    "issue_machine_token",
    "keep_signed_in",
    "last_day_at_most",
    "re_authenticate",
    "reopen_account",
    "set_own_password",
    "sign",
    "sign_in",
    "sign_out",
]
