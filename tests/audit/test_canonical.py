"""The quick writer of an entry's body and the library's give the same bytes, whatever is in it."""

import rfc8785
from hypothesis import example, given
from hypothesis import strategies as st

from app.audit.chain import canonical

_TEXTS = st.text(st.characters(exclude_categories=["Cs"]))
_NAMES = _TEXTS | st.sampled_from(["rows", "previous", "\N{GRINNING FACE}", "\ufb33", "\u20ac"])
_CONTENT = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | _TEXTS,
    lambda inner: st.lists(inner) | st.dictionaries(_NAMES, inner),
)


@given(st.dictionaries(_NAMES, _CONTENT))
@example({"\u20ac": 1, "\r": 2, "\ufb33": 3, "1": 4, "\N{GRINNING FACE}": 5, "\x80": 6, "\xf6": 7})
@example({"note": '\x00\x07\b\t\n\x0b\f\r\x1f"\\/\x7f\x80\u2028\N{GRINNING FACE}'})
@example({"number": 333333333.33333329, "other": 1e21, "whole": 1.0, "small": 1e-7})
def test_every_body_has_the_bytes_of_rfc_8785(body: dict[str, object]) -> None:
    """RFC 8785, 3.2.2 and 3.2.3: its own examples of strings, numbers and order are among them."""
    assert canonical(body) == rfc8785.dumps(body)


def test_a_plain_body_is_written_the_same_way() -> None:
    body = {"b": [1, True, None, "\xe9\n"], "a": {"d": "x", "c": [{}, []]}}
    assert canonical(body) == b'{"a":{"c":[{},[]],"d":"x"},"b":[1,true,null,"\xc3\xa9\\n"]}'
