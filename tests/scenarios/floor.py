"""An invented shop whose people do everything on its pages, and the acts the scenarios share."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from html import unescape
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.audit.actor import Actor
from app.database import Database
from app.equipment.records import FurnaceCheckKind
from app.people.records import Person, Task
from app.people.rights import Role
from app.release.queries.panel_facts import panel_facts, panel_id
from app.release.service import case_of
from app.requirements.records import Requirement, RequirementKind, RequirementRevision
from tests.makers import Shop
from tests.release.evidence_rows import Evidence
from tests.scenarios.papers import (
    CYCLE,
    CYCLE_RULES,
    FOUR,
    SENSORS,
    STATIONS,
    mapping,
    table,
)
from tests.speed.serving import form_of
from tests.visits import PASSWORD, Visit, words

ZONE = ZoneInfo("Europe/Lisbon")
FIRST_DAY = datetime(2026, 4, 22, 6, 0, tzinfo=UTC)
"""The survey of the furnace is good until 2026-05-01: nine days more."""
GOOD_HARDNESS = ("85.2", "85.6", "85.1")
GOOD_CONDUCTIVITY = ("38.8", "38.9", "38.7")
LOW, HIGH = "RS-292", "RS-418"
"""The conductivity standards, 29.2 and 41.8 %IACS, each within 0.5."""


class Clock:
    """What the pages read as the time: a second later each time."""

    def __init__(self) -> None:
        self.at = FIRST_DAY

    def __call__(self) -> datetime:
        self.at += timedelta(seconds=1)
        return self.at

    def to(self, text: str) -> None:
        """Go on to that time in the shop, such as 2026-04-23 14:00."""
        wanted = datetime.fromisoformat(f"{text}+01:00")
        assert wanted > self.at, f"{text} is over"
        self.at = wanted


def revision_id(session: Session, code: str) -> int:
    """The key of a requirement's first revision."""
    asked = select(RequirementRevision.id).join(Requirement).where(Requirement.code == code)
    return session.scalars(asked.order_by(RequirementRevision.id)).first() or 0


class Floor:
    """People of the shop, one browser, and a clock. Set-up is rows; every act is a form."""

    def __init__(self, database: Database, visit: Visit, clock: Clock) -> None:
        self.database, self.visit, self.clock = database, visit, clock
        self.shop = Shop(database)
        self._who = ""
        self._csrf = ""
        with database.write() as session:
            for code, certified in ((LOW, "29.2"), (HIGH, "41.8")):
                self.shop.block(session, code, "conductivity", "%IACS", certified, "0.5")
            # Accuracy tests are made often; this one is two days old on the first day.
            self.shop.furnace_check(
                session,
                self.shop.furnace_id,
                FurnaceCheckKind.ACCURACY_TEST,
                done_on=date(2026, 4, 20),
                due_on=date(2026, 7, 20),
                report="R-2026-16",
            )
            for number in range(1, 9):
                self.shop.sensor(
                    session, f"TC-{number}", done_on=date(2026, 1, 5), due_on=date(2026, 7, 5)
                )
        self.require("DT-9", RequirementKind.ACCEPTANCE_TABLE, table())
        self.require("CC-150", RequirementKind.CYCLE, CYCLE, CYCLE_RULES)
        self.require("LM-1", RequirementKind.LOGGER_MAPPING, mapping())

    def require(
        self, code: str, kind: RequirementKind, paper: dict[str, Any], rules: Any = None
    ) -> None:
        """A requirement in force since before everything."""
        with self.database.write() as session:
            self.shop._requirement(session, code, kind, paper, rules or {})  # noqa: SLF001 - its own

    def join(self, username: str, name: str, *roles: Role, tasks: Iterable[Task] = ()) -> Actor:
        """Somebody more of the shop, authorised for what the roles do and for ``tasks``."""
        with self.database.write() as session:
            actor = self.shop._person(session, username, name, *roles)  # noqa: SLF001 - its own
            person = session.get_one(Person, actor.id)
            more = self.shop.authorise(session, person, set(tasks))
        return replace(actor, authorised={**actor.authorised, **more})

    def material(self, panel: str, *, lot: str = "M-5518", marks: Iterable[str] = STATIONS) -> None:
        """A panel of a lot with its coupons, cut and marked PANEL-STATION; set-up only."""
        with self.database.write() as session:
            self.shop.lot_id = self.shop.lot(session, lot)
            self.shop.panel(session, panel)
            for mark in marks:
                self.shop.coupon(session, f"{panel}-{mark}")

    def from_furnace(self, stations: int = 4) -> tuple[str, list[str]]:
        """Set-up only: a panel out of a run that conforms, with its coupons, as rows."""
        with self.database.read() as session:
            self.shop.table_revision_id = revision_id(session, "DT-9")
            self.shop.cycle_revision_id = revision_id(session, "CC-150")
        load, panel, coupons, _ = self.shop.panel_in_load(coupons=stations, sensors=8)
        with self.database.write() as session:
            Evidence(self.database, self.shop).fill(session, load, panel, coupons, verdicts=False)
        return panel.code, [one.code for one in coupons]

    # -- one browser ---------------------------------------------------------------------------

    def by(self, username: str) -> "Floor":
        """Have that person at the browser, signed in anew."""
        self.visit.sign_in(username)
        self._who, self._csrf = username, self.visit.csrf()
        return self

    def to(self, time: str) -> "Floor":
        """Go on to that time; who was at the browser signs in again, as it was locked."""
        self.clock.to(time)
        return self.by(self._who)

    def page(self, address: str) -> str:
        """The words of a page."""
        answer = self.visit.get(address)
        assert answer.status_code == 200, (answer.status_code, words(answer.text))
        return said(answer)

    def post(self, address: str, files: Any = None, **fields: str) -> Any:
        """Send a form; the answer as it is."""
        return self.visit.client.post(address, data={"csrf": self._csrf, **fields}, files=files)

    def do(self, address: str, files: Any = None, **fields: str) -> str:
        """Send a form that is taken; the words of the page it leads to."""
        answer = self.post(address, files, **fields)
        assert answer.status_code == 303, (answer.status_code, words(answer.text))
        return said(self.visit.get(answer.headers["location"]))

    def refused(self, address: str, files: Any = None, **fields: str) -> str:
        """Send a form that is refused; the words of the answer."""
        answer = self.post(address, files, **fields)
        assert answer.status_code in {403, 404, 409, 422}, (answer.status_code, words(answer.text))
        return said(answer)

    def form(self, address: str, action: str) -> dict[str, str]:
        """The fields of a page's form as the page filled them in."""
        return form_of(self.visit.get(address).text, action)

    # -- the furnace ---------------------------------------------------------------------------

    def plan_fields(
        self, load: str, panel: str, *, start: str, marks: Iterable[str] = STATIONS, **changed: str
    ) -> dict[str, str]:
        """The plan's form: one panel, its coupons at their stations, eight load sensors."""
        riding = list(marks)
        fields = {
            "act": "plan",
            "code": load,
            "furnace": "FN-1",
            "cycle": "CC-150",
            "planned_start": start,
            "length_h": "30",
            "gauge": "VG-1",
            "panel_rows": "1",
            "coupon_rows": str(len(riding)),
            "sensor_rows": str(len(SENSORS)),
            "panel_1": panel,
            "former_1": "FORMER-1",
            "table_1": "DT-9",
            "panel_x_1": "0",
            "panel_y_1": "0",
        }
        for number, mark in enumerate(riding, start=1):
            fields |= {
                f"coupon_{number}": f"{panel}-{mark}",
                f"coupon_panel_{number}": "#1",
                f"coupon_station_{number}": mark,
                f"coupon_x_{number}": STATIONS[mark][0],
                f"coupon_y_{number}": STATIONS[mark][1],
            }
        for number, channel in enumerate(SENSORS, start=1):
            fields |= {
                f"sensor_{number}": f"TC-{number}",
                f"channel_{number}": channel,
                f"role_{number}": "load",
                f"sensor_panel_{number}": "#1",
                f"sensor_station_{number}": f"T{number}",
                f"sensor_x_{number}": f"0.{number}",
                f"sensor_y_{number}": "0.50",
            }
        return fields | changed

    def run(
        self,
        load: str,
        panel: str,
        file: bytes,
        *,
        start: str,
        hours: str = "30",
        bag: str = "intact",
        marks: Iterable[str] = STATIONS,
        **planned: str,
    ) -> str:
        """A load from its plan to the unwrapped panel, by Mara; the words of its record."""
        riding = tuple(marks)
        self.by("mara")
        self.do(
            "/loads/plan", **self.plan_fields(load, panel, start=start, marks=riding, **planned)
        )
        self.leak(load, panel)
        began = datetime.fromisoformat(start)
        self.to(start).do(f"/loads/{load}/start", started_at=start)
        ended = began + timedelta(hours=int(hours))
        self.end(load, f"{ended:%Y-%m-%d %H:%M}")
        record = self.bring(load, file)
        self.unwrap(load, panel, bag=bag, **dict.fromkeys(riding, "recovered"))
        return record

    def end(self, load: str, at: str) -> str:
        """The load is taken out."""
        return self.to(at).do(f"/loads/{load}/end", ended_at=at)

    def leak(self, load: str, panel: str, start: str = "880", end: str = "869") -> str:
        """A bag's leak check over five minutes, in mbar below ambient."""
        return self.do(
            f"/loads/{load}/leak-check",
            panel=panel,
            gauge="VG-1",
            unit="mbar",
            start=start,
            end=end,
            minutes="5",
        )

    def bring(self, load: str, file: bytes, **changed: str) -> str:
        """The logger's export looked at and kept under the mapping the page offers."""
        address = f"/loads/{load}/record"
        sent = self.post(address, [("file", (f"{load}.csv", file, "text/csv"))])
        assert sent.status_code == 303, words(sent.text)
        shown = self.visit.get(sent.headers["location"])
        assert shown.status_code == 200, words(shown.text)
        return self.do(f"{address}/keep", **(form_of(shown.text, f"{address}/keep") | changed))

    def unwrap(self, load: str, panel: str, *, bag: str = "intact", **fates: str) -> str:
        """The unwrapping; ``fates`` are what became of the coupon at a station."""
        return self.do(
            f"/loads/{load}/unwrapping",
            panel=panel,
            bag=bag,
            findings="" if bag == "intact" else "Torn along the north seal.",
            surface="clear",
            contour_gap="0.4",
            contour_limit="1.0",
            searched="In the bag, under the former and on the floor.",
            act="record",
            **{f"coupon:{panel}-{mark}": fate for mark, fate in fates.items()},
        )

    # -- the bench -----------------------------------------------------------------------------

    def session(self, tester: str, **checks: str) -> str:
        """A bench session opened at a tester, its address, with the opening checks by block."""
        answer = self.post("/bench/sessions", tester=tester)
        assert answer.status_code == 303, words(answer.text)
        address: str = answer.headers["location"].partition("?")[0]
        self.checks(address, "opening", **checks)
        return address

    def checks(self, address: str, moment: str, **readings: str) -> str:
        """Checks on blocks: its readings parted by blanks; a block's dash is an underscore here."""
        shown = ""
        for block, keyed in readings.items():
            figures = {f"reading_{n}": text for n, text in enumerate(keyed.split(), start=1)}
            shown = self.do(
                f"{address}/check",
                moment=moment,
                block=block.replace("_", "-"),
                fields=str(len(figures)),
                block_c="20.5",
                **figures,
            )
        return shown

    def measure(self, address: str, coupon: str, *readings: str) -> str:
        """Three readings of a coupon as the session's form asks for them."""
        action = f"{address}/readings"
        typed = self.form(f"{address}?coupon={coupon}", action)
        typed |= {f"reading_{number}": text for number, text in enumerate(readings, start=1)}
        typed |= {"fields": str(len(readings)), "spacing_confirmed": "yes"}
        if "coupon_c" in typed:
            typed |= {"coupon_c": "21.0", "block_c": "20.5"}
        return self.do(action, **{name: text for name, text in typed.items() if name != "csrf"})

    def measure_all(
        self,
        panel: str,
        *,
        marks: Iterable[str] = FOUR,
        by: str = "mara",
        hard: Mapping[str, tuple[str, ...]] | None = None,
        iacs: Mapping[str, tuple[str, ...]] | None = None,
    ) -> None:
        """Hardness and conductivity of coupons between conforming checks, by one person."""
        self.by(by)
        kept = tuple(marks)
        address = self.session("HT-1", RB_HT_1="84.6 84.7 84.8")
        for mark in kept:
            self.measure(address, f"{panel}-{mark}", *(hard or {}).get(mark, GOOD_HARDNESS))
        self.checks(address, "closing", RB_HT_1="84.9 84.9 84.9")
        address = self.session("CM-1", RS_292="29.4", RS_418="41.6")
        for mark in kept:
            self.measure(address, f"{panel}-{mark}", *(iacs or {}).get(mark, GOOD_CONDUCTIVITY))
        self.checks(address, "closing", RS_292="29.3", RS_418="41.7")

    # -- decisions -----------------------------------------------------------------------------

    def signed(self, panel: str) -> dict[str, str]:
        """What a decision's form carries: the evidence as it stands, and the password.

        Read from the records and not from the form, as it is not shown to who may not decide.
        """
        with self.database.read() as session:
            key = panel_id(session, panel)
            facts = panel_facts(session, [key], zone=ZONE, in_full=True)[key]
        return {"seen": case_of(facts).seen, "password": PASSWORD}

    def release(self, panel: str, by: str = "deniz") -> str:
        """A signed release; the words of the dossier."""
        self.by(by)
        return self.do(f"/panels/{panel}/release", **self.signed(panel))

    def lift(self, panel: str, disposition: str, reason: str, by: str = "ines") -> str:
        """A signed disposition; the words of the dossier."""
        self.by(by)
        signed = self.signed(panel) | {"disposition": disposition, "reason": reason}
        return self.do(f"/panels/{panel}/lift", **signed)


def said(answer: Any) -> str:
    """The words of a page from its notice to its foot."""
    html = answer.text.partition("</header>")[2] or answer.text
    return unescape(words(html.rpartition("<footer")[0] or html))
