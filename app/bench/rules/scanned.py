"""What a scanner typed, without what it adds to the mark. Pure."""

import re
import unicodedata

# A symbology identifier, which some scanners send first: ISO/IEC 15424, clause 4 (from memory).
_SYMBOLOGY = re.compile(r"^\][A-Za-z][0-9A-Za-z]")


def as_scanned(typed: str) -> str:
    """The mark itself: without control signs, a symbology identifier and spaces around it."""
    plain = "".join(sign for sign in typed if unicodedata.category(sign)[0] != "C")
    return _SYMBOLOGY.sub("", plain.strip()).strip()
