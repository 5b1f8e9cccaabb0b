"""Signed heads of the trail: have one signed, print and download it, check one from outside."""

import io
from collections.abc import Mapping
from typing import Annotated, Any

import segno
from fastapi import APIRouter, Query, Response
from markupsafe import Markup

from app.errors import BadFile, Refusal
from app.people.machines import MachineRoute, MachineWith
from app.people.queries import MachineTokenLine
from app.people.records import Scope
from app.people.rights import Act, may
from app.people.signed_in import SignedIn
from app.tracing.queries.dossier import people_by_id
from app.trail.queries import heads
from app.trail.rules.head_text import LONGEST, SignedHead, read_head, read_key
from app.trail.service import key_place, open_key, sign_head
from app.web.entries import kept
from app.web.forms import Typed, TypedForm
from app.web.page import Page, Records

router = APIRouter()
machine_router = APIRouter(prefix="/machine", route_class=MachineRoute)


@router.get("/trail/heads")
def show_heads(page: Page, records: Records, by: SignedIn) -> Response:
    """Heads signed so far, the keys that signed them, and the button that has one signed."""
    with records.read() as session:
        signed = heads.heads(session)
        return page.show(
            "trail/heads.html",
            heads=signed,
            keys=heads.keys(session),
            names={name.user: name.full for name in people_by_id(session).values()},
            entries=heads.entries_now(session),
            may_sign=may(by, Act.SIGN_HEAD),
        )


@router.post("/trail/heads")
def submit_head(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Sign the head over everything so far, and go on to its paper.

    Raises:
        NotAllowed, BadFile: not this person, or the key cannot be used.
    """
    key = open_key(key_place(page.settings))
    head = sign_head(records, key, by=by, at=page.shop_time(), shop=page.settings.shop_name)
    return page.see_other("/trail/heads", str(head.size), notice="The head is signed. Print it.")


@router.get("/trail/heads/check")
def show_head_check(page: Page, records: Records, by: SignedIn) -> Response:
    """Where a head from outside is pasted or chosen."""
    return page.show("trail/head_check.html", report=None, **kept())


@router.post("/trail/heads/check")
def submit_head_check(page: Page, records: Records, by: SignedIn, typed: TypedForm) -> Response:
    """Hold a head from outside against the trail as it is now; nothing is kept of it."""
    fields = {name: typed.get(name, "") for name in ("text", "key")}
    try:
        signed = read_head(_text(typed))
        with records.read() as session:
            report = heads.check_head(session, signed, trusted=read_key(fields["key"]))
    except Refusal as refusal:
        return page.show("trail/head_check.html", report=None, **kept(fields, refusal))
    return page.show("trail/head_check.html", report=report, **kept(fields))


def _text(typed: Typed) -> str:
    """What was chosen as a file, else what was pasted.

    Raises:
        BadFile: neither, or not a text.
    """
    for upload in typed.every_file("file"):
        content = upload.file.read(LONGEST + 1)
        try:
            return content.decode()
        except UnicodeDecodeError:
            raise BadFile(
                "The file is not a text in UTF-8. Choose the file that was downloaded with the "
                "head, or paste its text."
            ) from None
    if not typed.get("text", "").strip():
        raise BadFile("Paste a head's text or choose its file.")
    return typed["text"]


@router.get("/trail/heads/{size:int}")
def show_head(page: Page, records: Records, by: SignedIn, size: int) -> Response:
    """One head as a paper: its text, and the same text as a code to be scanned."""
    with records.read() as session:
        head = heads.head(session, size)
    return page.show("trail/head.html", head=head, code=_code(head.text))


def _code(text: str) -> Markup:
    """The text as a QR code (ISO/IEC 18004), drawn without anything from outside."""
    drawn = io.BytesIO()
    code = segno.make_qr(text, error="m")
    code.save(drawn, kind="svg", xmldecl=False, scale=3, light="#fff", svgclass="head-code")
    return Markup(drawn.getvalue().decode())  # noqa: S704 - lines of the library's own drawing


@router.get("/trail/heads/{size:int}.txt")
def download_head(records: Records, by: SignedIn, size: int) -> Response:
    """One head's text, byte for byte as it is checked."""
    with records.read() as session:
        return _as_file(heads.head(session, size))


def _as_file(head: SignedHead) -> Response:
    return Response(
        head.text.encode(),
        media_type="text/plain; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="trail-head-{head.size}.txt"',
            "Content-Security-Policy": "default-src 'none'; sandbox",
        },
    )


@machine_router.get("/tree-heads")
def send_heads(
    page: Page,
    records: Records,
    machine: Annotated[MachineTokenLine, MachineWith(Scope.TREE_HEADS)],
    since: Annotated[int, Query(ge=0, lt=2**31)] = 0,
) -> Mapping[str, Any]:
    """The newest heads for a machine that keeps them elsewhere, newest first.

    With ``since``, the size of a head it holds, also the hashes which prove that the newest head's
    entries begin with those (RFC 6962, 2.1.2): it needs neither the trail nor our word for it.
    """
    with records.read() as session:
        signed = heads.heads(session)
        keys = {key.key_id: key for key in heads.keys(session)}
        texts = [
            {
                "entries": row.size,
                "root": row.root_sha256,
                "text": heads.as_signed(row, keys[row.key_id]).text,
            }
            for row in signed
        ]
        answer: dict[str, Any] = {"heads": texts}
        if since and signed:
            newest = signed[0].size
            answer["grew"] = {
                "from": since,
                "to": newest,
                "hashes": heads.consistency(session, since, newest),
            }
    return answer
