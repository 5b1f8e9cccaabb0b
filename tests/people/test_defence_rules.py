"""Waiting times, passwords and codes: what needs no database."""

from base64 import b32encode
from datetime import UTC, datetime, timedelta

import pytest

from app.errors import Refusal
from app.people.service import passwords
from app.people.service.passwords import check_password, hashed, matches
from app.people.service.second_factor import code_at, new_secret, offer, step_of
from app.people.service.waiting import waiting_time
from tests.visits import PASSWORD

AT = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)


def test_the_sixth_try_waits_fifteen_seconds_and_none_longer_than_fifteen_minutes() -> None:
    waits = [waiting_time([AT] * count, now=AT).total_seconds() for count in range(14)]
    assert waits == [0, 0, 0, 0, 0, 15, 30, 60, 120, 240, 480, 900, 900, 900]
    assert waiting_time([AT] * 1000, now=AT) == timedelta(minutes=15)
    assert waiting_time([AT] * 7, now=AT + timedelta(seconds=59)) == timedelta(seconds=1)
    assert waiting_time([AT] * 7, now=AT + timedelta(seconds=60)) == timedelta(0)


@pytest.mark.parametrize(
    "password",
    [
        PASSWORD,
        "aged at 150 for a day",
        "fifteen letters",
        "много разных слов тут",
        "a b c d e f g h i j k",
        "Tr0ub4dor & 3 pine cones",
        "nine lamps over a quiet harbour " * 6,
    ],
)
def test_fifteen_characters_of_any_kind_are_taken(password: str) -> None:
    check_password(password, own_words=("Mara Quill", "mara", "Test shop"))


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("x" * 14, "this one has 14"),
        ("word " * 40 + "more", "this one has 204"),
        ("aaaaaaaaaaaaaaaaaa", "over and over"),
        ("iloveyouiloveyou", "over and over"),
        ("password123456789", "a word that everybody here knows|people use most|a row of signs"),
        ("123456789012345", "people use most"),
        ("qwertyuiopasdfghjkl", "neighbouring keys|people use most"),
        ("Mara.Quill 1234", "little more than a name"),
        ("maraquillmaraquill", "little more than a name"),
        ("Test shop Test shop!", "little more than a name"),
        ("temperbook 2026", "little more than a name"),
    ],
)
def test_what_is_guessed_first_is_refused_with_the_reason(password: str, why: str) -> None:
    with pytest.raises(Refusal, match=why) as refused:
        check_password(password, own_words=("Mara Quill", "mara", "Test shop"))
    assert password not in refused.value.sentence


def test_one_text_is_one_password_however_a_keyboard_sends_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """NFKC, as NIST SP 800-63B-4 advises (from memory): composed, decomposed and wide letters."""
    cheap = passwords.PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "_hasher", cheap)
    known = hashed("Grüße vom Ofen 9 \N{MIDDLE DOT} ab")
    assert matches(known, "Gru\N{COMBINING DIAERESIS}ße vom Ofen 9 \N{MIDDLE DOT} ab ")
    assert matches(known, "Grüße vom Ofen \N{FULLWIDTH DIGIT NINE} \N{MIDDLE DOT} ab")
    assert not matches(known, "Grüsse vom Ofen 9 \N{MIDDLE DOT} ab")


RFC_6238_SECRET = b32encode(b"12345678901234567890").decode()


@pytest.mark.parametrize(
    ("seconds", "code"),
    [
        (59, "94287082"),
        (1111111109, "07081804"),
        (1111111111, "14050471"),
        (1234567890, "89005924"),
        (2000000000, "69279037"),
        (20000000000, "65353130"),
    ],
)
def test_the_codes_of_rfc_6238_appendix_b(seconds: int, code: str) -> None:
    """RFC 6238, Appendix B, the SHA-1 column, from memory; printed there with eight digits.

    Six digits are the last six of the eight: both are remainders of one number (RFC 4226, 5.3).
    """
    assert code_at(RFC_6238_SECRET, at=datetime.fromtimestamp(seconds, UTC)) == code[-6:]


def test_a_code_of_the_step_before_or_after_is_taken_and_no_other() -> None:
    secret = new_secret()
    step = int(AT.timestamp()) // 30
    found = [
        step_of(secret, code_at(secret, at=AT + timedelta(seconds=30 * drift)), at=AT)
        for drift in (-2, -1, 0, 1, 2)
    ]
    # That two of five random codes are the same happens about once in 10^5 runs.
    assert found == [None, step - 1, step, step + 1, None]
    spaced = code_at(secret, at=AT)[:3] + " " + code_at(secret, at=AT)[3:]
    assert step_of(secret, spaced, at=AT) == step
    for typed in ("", "12345", "abcdef", "1234567", "١٢٣٤٥٦"):
        assert step_of(secret, typed, at=AT) is None


def test_a_secret_is_offered_as_text_and_as_a_picture_without_style() -> None:
    shown = offer(new_secret(), username="mara", shop="Test shop")
    assert shown.picture.startswith("<svg")
    assert "style=" not in shown.picture
    assert len(shown.secret) == 32
    for wrong in ("", "AAAA", "not base 32", shown.secret[:-1]):
        with pytest.raises(Refusal, match="was changed"):
            offer(wrong, username="mara", shop="Test shop")
