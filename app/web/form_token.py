"""The token in every form: it tells that a page of ours was shown to that very sign-in."""

import hashlib
import hmac


def csrf_token(sign_in_token: str) -> str:
    """The value every form carries: bound to the sign-in's secret cookie; no other site has it."""
    return csrf_of(hashlib.sha256(sign_in_token.encode()).hexdigest())


def csrf_of(sign_in_sha256: str) -> str:
    """The same from what is kept of the cookie, so that a form tells which sign-in it was for."""
    return hmac.new(sign_in_sha256.encode(), b"temperbook form", hashlib.sha256).hexdigest()
