"""What the pages of all equipment share."""

from typing import Any
from urllib.parse import quote

from app.audit.actor import Actor
from app.equipment.forms import TermForm
from app.equipment.rules.reports import LARGEST_REPORT_BYTES, SentFile
from app.equipment.service import Term
from app.people.queries import acts_about, names, open_holds_about
from app.people.rights import Act, may
from app.web.forms import Typed


def common(session: Any, by: Actor, kind: str, code: str) -> dict[str, Any]:
    """What the page of every instrument shows besides."""
    return {
        "names": names(session),
        "acts": acts_about(session, kind, code),
        "on_hold": open_holds_about(session, kind, code),
        "may_register": may(by, Act.REGISTER_EQUIPMENT),
    }


def term(form: TermForm) -> Term:
    """The two days of a paper as typed."""
    return Term(form.done_on, form.due_on)


def sent_file(typed: Typed) -> SentFile | None:
    """The report file that came with a form; None where none was chosen."""
    upload = typed.files.get("file")
    if upload is None or not upload.filename:
        return None
    return SentFile(upload.filename, upload.file.read(LARGEST_REPORT_BYTES + 1))


def download_headers(file_name: str) -> dict[str, str]:
    """Headers with which a kept file is handed out: to be saved, never to be run in our name."""
    return {
        "Content-Disposition": f"attachment; filename*=UTF-8''{quote(file_name, safe='')}",
        "Content-Security-Policy": "default-src 'none'; sandbox",
    }
