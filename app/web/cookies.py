"""Cookies: what they are called, how they are set, and how long they are kept."""

from fastapi import Request, Response

from app.settings import Settings

SIGN_IN = "temperbook_sign_in"
BROWSER = "temperbook_browser"
"""A random mark of this browser, by which failed tries in it are counted by themselves."""
NOTICE = "temperbook_notice"


def name(settings: Settings, cookie: str) -> str:
    """What the cookie is called.

    Over HTTPS with the prefix by which a browser takes it from this host alone, for every path and
    over HTTPS only (RFC 6265bis, section 4.1.3.2).
    """
    return f"__Host-{cookie}" if settings.secure_cookies else cookie


def taken(request: Request, cookie: str) -> str:
    """What the browser sent in the cookie; empty where it sent none."""
    return request.cookies.get(name(request.app.state.settings, cookie), "")


def put(
    response: Response, settings: Settings, cookie: str, content: str, *, seconds: float
) -> None:
    """Set the cookie: out of reach of scripts, and not sent with what other sites' pages send."""
    response.set_cookie(
        name(settings, cookie),
        content,
        max_age=int(seconds),
        httponly=True,
        samesite="lax",
        secure=settings.secure_cookies,
    )


def drop(response: Response, settings: Settings, cookie: str) -> None:
    """Have the browser forget the cookie."""
    response.delete_cookie(
        name(settings, cookie), httponly=True, samesite="lax", secure=settings.secure_cookies
    )
