"""How a scanned identity is read. Pure."""

import re

_SYMBOLOGY = re.compile(r"^\][A-Za-z][0-9A-Za-z]")
_UNPRINTED = re.compile(r"[\x00-\x20\x7f\u00a0\u200b-\u200f\u2028\u2029\ufeff]+")


def scanned(typed: str) -> str:
    """An identity as typed or scanned, in capitals, without what a scanner puts around it.

    That is: spaces and control characters, the symbology identifier that a scanner may send first
    (ISO/IEC 15424: "]" and two signs), and the start and stop sign of Code 39 ("*").
    """
    text = _UNPRINTED.sub("", typed)
    text = _SYMBOLOGY.sub("", text)
    return text.strip("*").upper()


def kind_words(kind: str) -> str:
    """A kind of thing as spoken."""
    return kind.replace("_", " ")
