"""Signed heads: their text, their key, what they find, and the pages and commands for them."""

import re
import shutil
import stat
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from starlette.testclient import TestClient

from app.audit.tags import Tag
from app.audit.verify import verify_trail
from app.audit.writer import append
from app.cli.head import head_command
from app.cli.verify import verify_command
from app.database import Database
from app.errors import BadFile, NotAllowed
from app.main import create_app
from app.people.records import Scope
from app.people.service import issue_machine_token
from app.settings import Settings
from app.trail.queries.heads import check_head, misfitting_heads
from app.trail.rules.head_text import SignedHead, one_line, read_head, read_key
from app.trail.service import HeadKey, key_place, open_key, sign_head
from tests.audit.proofs import grew_from
from tests.makers import NOW, Shop
from tests.visits import Visit, words

LATER = NOW + timedelta(days=1)
KEY = HeadKey(Ed25519PrivateKey.from_private_bytes(bytes(range(32))))
OTHER = HeadKey(Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33))))


def _signed(key: HeadKey = KEY, size: int = 3) -> SignedHead:
    head = SignedHead("A shop", size, "ab" * 32, NOW, key.public_key)
    return SignedHead("A shop", size, "ab" * 32, NOW, key.public_key, key.sign(head.signed_part))


def test_rfc_8032_section_7_1_test_1() -> None:
    """RFC 8032, 7.1, TEST 1: the empty message. From memory."""
    key = HeadKey(
        Ed25519PrivateKey.from_private_bytes(
            bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
        )
    )
    assert key.public_key == "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
    assert key.sign("") == (
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"
    )


def test_the_text_says_everything_and_each_line_of_it_is_signed() -> None:
    head = _signed()
    assert head.is_genuine
    lines = head.text.splitlines()
    assert lines[:4] == [
        "Temperbook trail head, form 1",
        "Shop: A shop",
        "Entries: 3",
        f"Root: {'ab' * 32}",
    ]
    # As a scanner or a mail program may hand it on.
    assert read_head("\ufeff" + "\r\n\r\n".join(f"  {line} " for line in lines)) == head
    for number in range(len(lines)):
        changed = lines[number][:-1] + ("2" if lines[number].endswith("1") else "1")
        text = "\n".join([*lines[:number], changed, *lines[number + 1 :]])
        try:
            assert not read_head(text).is_genuine, changed
        except BadFile as refused:
            assert f"{number + 1}" in refused.sentence or "first line" in refused.sentence  # noqa: PT017
    for text in ("", "x", "\n".join(lines[:-1]), head.text + "more", head.text.replace("3", "03")):
        with pytest.raises(BadFile):
            read_head(text)
    assert one_line(" A\nshop\t1 ") == "A shop 1"
    assert read_key(f" {'AB' * 16} {'ab' * 16} ") == "ab" * 32
    with pytest.raises(BadFile, match="64 hexadecimal"):
        read_key("abc")


def test_a_key_is_made_once_for_its_own_user_alone(tmp_path: Path) -> None:
    place = key_place(Settings(database_url=f"sqlite:///{tmp_path}/a/b.sqlite"))
    assert place == tmp_path / "a" / "trail-head.key"
    assert key_place(Settings(key_file=tmp_path / "k")) == tmp_path / "k"
    assert key_place(Settings(database_url="postgresql://x/y")) == Path("var/trail-head.key")
    made = open_key(place)
    assert stat.S_IMODE(place.stat().st_mode) == 0o600
    assert open_key(place).public_key == made.public_key
    assert list(place.parent.iterdir()) == [place]
    place.chmod(0o640)
    with pytest.raises(BadFile, match="Other users"):
        open_key(place)
    place.chmod(0o600)
    place.write_text("no key")
    with pytest.raises(BadFile, match="no Ed25519 key"):
        open_key(place)
    with pytest.raises(BadFile, match="cannot be read or made"):
        open_key(place / "below")


@pytest.fixture
def shop(sqlite_url: str) -> Iterator[Shop]:
    database = Database(sqlite_url)
    yield Shop(database)
    with database.read() as session:
        assert verify_trail(session).holds
        assert misfitting_heads(session) == []
    database.close()


def _act(database: Database, who: str) -> None:
    with database.write() as session:
        append(session, Tag.SIGNED_IN, by=who, at=LATER, about=("person", who))


def test_heads_over_a_growing_trail_keep_and_a_database_put_back_is_found(
    shop: Shop, tmp_path: Path
) -> None:
    database = shop.database
    with pytest.raises(NotAllowed):
        sign_head(database, KEY, by=shop.inspector, at=LATER, shop="A shop")
    first = sign_head(database, KEY, by=shop.supervisor, at=LATER, shop="A shop")
    database.close()
    shutil.copy(str(database.engine.url.database), tmp_path / "earlier.sqlite")
    _act(database, "mara")
    second = sign_head(database, OTHER, by="command line", at=LATER, shop="A shop")
    # The first head's own entry, the sign-in and the new key's registration came between.
    assert second.size == first.size + 3
    with database.read() as session:
        for head in (first, second, read_head(second.text)):
            assert check_head(session, head).problems == []
        assert check_head(session, second, trusted=OTHER.public_key).holds
        assert (
            "not by the key you gave"
            in check_head(session, second, trusted=KEY.public_key).problems[0]
        )
        assert (
            "not registered"
            in check_head(session, _signed(HeadKey(Ed25519PrivateKey.generate()))).problems[0]
        )
        assert "are not those" in check_head(session, _signed()).problems[0]
        forged = SignedHead("B", *(getattr(second, n) for n in second.__slots__[1:]))
        assert "proves nothing" in check_head(session, forged).problems[0]
    earlier = Database(f"sqlite:///{tmp_path}/earlier.sqlite")
    with earlier.read() as session:
        assert verify_trail(session).holds
        assert misfitting_heads(session) == []
        assert check_head(session, first).holds
        told = check_head(session, second, trusted=OTHER.public_key).problems
        assert len(told) == 1
        assert "At least 2 are gone" in told[0]
    for who in ("deniz", "ines", "olek"):
        _act(earlier, who)
    with earlier.read() as session:
        assert verify_trail(session).holds
        assert (
            "went another way" in check_head(session, second, trusted=OTHER.public_key).problems[0]
        )
    earlier.close()


def test_the_commands_sign_and_find_by_their_exit_status(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TEMPERBOOK_DATABASE_URL", shop.database.url)
    kept = tmp_path / "kept.txt"
    assert head_command(kept) == 0
    with pytest.raises(BadFile, match="exists already"):
        head_command(kept)
    assert head_command(None) == 0
    head = read_head(capsys.readouterr().out.split("\n", 1)[1])
    assert verify_command(kept, head.public_key) == 0
    assert "It keeps the head over" in capsys.readouterr().out
    assert verify_command(kept, KEY.public_key) == 1
    told = capsys.readouterr().out
    assert "It DOES NOT KEEP the head" in told
    assert "The trail holds" in told
    with pytest.raises(BadFile, match="--head"):
        verify_command(None, head.public_key)
    with pytest.raises(BadFile, match="no head"):
        verify_command(Path(__file__))


def test_a_kept_head_that_was_altered_is_found(shop: Shop, tmp_path: Path) -> None:
    sign_head(shop.database, KEY, by=shop.auditor, at=LATER, shop="A shop")
    shop.database.close()
    shutil.copy(str(shop.database.engine.url.database), tmp_path / "other.sqlite")
    other = Database(f"sqlite:///{tmp_path}/other.sqlite")
    with other.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER tree_head_no_update")
        connection.exec_driver_sql("DROP TRIGGER tree_key_no_update")
        connection.exec_driver_sql("UPDATE tree_head SET shop = 'Another'")
    with other.read() as session:
        assert "does not bear the signature" in misfitting_heads(session)[0]
    with other.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE tree_head SET shop = 'A shop', size = size + 9")
        connection.exec_driver_sql(f"UPDATE tree_key SET public_key = '{OTHER.public_key}'")
    with other.read() as session:
        assert [told.split(" ", 1)[0] for told in misfitting_heads(session)] == ["Key", "The"]
    other.close()


def test_the_pages_sign_print_and_check_heads_and_machines_fetch_them(shop: Shop) -> None:
    app = create_app(Settings(database_url=shop.database.url, shop_name="Test shop"))
    with Visit(app) as visit:
        visit.sign_in("mara")
        assert "Sign the head now" not in visit.get("/trail/heads").text
        assert visit.post("/trail/heads").status_code == 403
        visit.sign_in("olek")
        paper = visit.follow(visit.post("/trail/heads")).text
        assert 'class="head-code"' in paper
        assert "A head stands for every entry" in words(paper)
        listed = visit.get("/trail/heads").text
        address = re.search(r'href="(/trail/heads/\d+)"', listed)
        assert address
        text = visit.get(f"{address[1]}.txt").text
        assert read_head(text).is_genuine
        assert "The trail keeps this head" in visit.post("/trail/heads/check", text=text).text
        file = {"file": ("head.txt", text.encode(), "text/plain")}
        assert "The trail keeps this head" in visit.post("/trail/heads/check", files=file).text
        forged = visit.post("/trail/heads/check", text=text.replace("Test shop", "Best shop")).text
        assert "It proves nothing" in words(forged)
        assert "Best shop" in forged
        for fields in ({"text": ""}, {"text": "x"}, {"text": text, "key": "x"}):
            refused = visit.post("/trail/heads/check", **fields)
            assert refused.status_code == 422
        bad = {"file": ("head.txt", b"\xff\xfe", "text/plain")}
        assert "not a text in UTF-8" in visit.post("/trail/heads/check", files=bad).text
        assert visit.get("/trail/heads/99999").status_code == 404
        assert "The trail holds" in visit.get("/trail/check").text
        earlier = read_head(text)
        visit.post("/trail/heads")
        _machine(shop, visit.client, earlier)


def _machine(shop: Shop, client: TestClient, earlier: SignedHead) -> None:
    """A machine with an earlier head proves from the answer alone that the trail only grew."""
    assert client.get("/machine/tree-heads").status_code == 401
    today = datetime.now(UTC).date()
    token = issue_machine_token(
        shop.database,
        name="Witness",
        scope=Scope.TREE_HEADS,
        last_day=today + timedelta(days=9),
        by=shop.administrator,
        at=LATER,
        today=today,
    )
    bearer = {"Authorization": f"Bearer {token}"}
    address = "/machine/tree-heads?since="
    told = client.get(f"{address}{earlier.size}", headers=bearer).json()
    newest = read_head(told["heads"][0]["text"])
    assert newest.is_genuine
    assert grew_from(
        (earlier.size, bytes.fromhex(earlier.root_sha256)),
        (newest.size, bytes.fromhex(newest.root_sha256)),
        [bytes.fromhex(part) for part in told["grew"]["hashes"]],
    )
    misread = client.get(f"{address}x", headers=bearer)
    assert misread.status_code == 422
    assert "This address says 'x' for since" in misread.json()["sentence"]
    beyond = client.get(f"{address}{newest.size + 1}", headers=bearer)
    assert beyond.status_code == 404
