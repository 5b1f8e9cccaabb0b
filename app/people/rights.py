"""Who may do what: one table, asked by every service before it acts."""

from dataclasses import dataclass
from enum import StrEnum

from app.audit.actor import Actor
from app.errors import NotAllowed
from app.people.records import Task


class Role(StrEnum):
    """A person may hold several; the two-person rules hold all the same."""

    INSPECTOR = "inspector"
    SUPERVISOR = "supervisor"
    ENGINEER = "engineer"
    AUDITOR = "auditor"
    ADMINISTRATOR = "administrator"


class Act(StrEnum):
    """What can be done; the value completes the sentence "Only ... may ..."."""

    ADD_PERSON = "add or change people"
    AUTHORISE = "authorise people for a task or take that back"
    ISSUE_MACHINE_TOKEN = "issue or take back a machine's token"  # noqa: S105 - an act's words
    REGISTER_EQUIPMENT = "register furnaces, sensors, gauges, thermometers, testers and blocks"
    REVIEW_REPORT = "review reports and certificates"
    RECORD_MAINTENANCE = "record work on a furnace"
    WRITE_REQUIREMENT = "write acceptance tables and cycles"
    VERIFY_REQUIREMENT = "verify tables, cycles, procedures and mappings"
    WRITE_PROCEDURE = "write pyrometry procedures"
    WRITE_MAPPING = "write logger mappings"
    WRITE_CORRECTION_TABLE = "write correction tables"
    KEY_AGAIN = "key the values of a revision a second time"
    ENTER_ORDER = "enter or change orders"
    RECEIVE_MATERIAL = "receive material and register panels and coupons"
    ASK_LOT_CORRECTION = "ask for what was entered of a material lot to be corrected"
    ANSWER_LOT_CORRECTION = "approve or decline a material lot's correction"
    PLAN_LOAD = "plan a load"
    START_LOAD = "start or end a load"
    ACCEPT_OTHER_LOT = "accept a coupon of another lot"
    RECORD_CUSTODY = "hand over coupons"
    CHECK_BAG = "record a bag's leak check"
    IMPORT_RECORD = "import a furnace record"
    CONFIRM_LAYOUT = "confirm how a furnace record was read"
    ISSUE_TOKEN = "issue or revoke a logger's token"  # noqa: S105 - an act's words
    EXCLUDE_SENSOR = "exclude a failed sensor"
    UNWRAP = "record an unwrapping"
    MEASURE = "take readings at the bench"
    ASK_VOID = "ask for a reading to be voided"
    APPROVE_VOID = "approve that a reading is voided"
    OPEN_RETEST = "open a retest"
    ANSWER_CORRECTION = "approve a correction that another person asked for"
    QUARANTINE_TESTER = "take a tester out of use"
    LIFT_QUARANTINE = "let a tester be used again"
    REPORT_TROUBLE = "report a coupon as missing, unmarked or doubled"
    ANSWER_TROUBLE = "decide about a coupon that is missing, unmarked or doubled"
    STUDY_TESTER = "open or close a study of a tester"
    DIVIDE_PANEL = "divide a panel or mark it anew"
    REGISTER_PLACE = "register places"
    BRING_PANEL = "record where a panel stands"
    PLACE_HOLD = "put a panel, or anything panels rest on, on hold"
    RELEASE_PANEL = "release a panel"
    LIFT_HOLD = "lift a hold"
    CLOSE_RECALL = "confirm or withdraw the release of a recalled panel"
    OPEN_NONCONFORMANCE = "open a nonconformance"
    PROPOSE_DISPOSITION = "propose a disposition"
    ANSWER_AS_QUALITY = "answer a proposed disposition for quality"
    ANSWER_AS_SUPERVISION = "answer a proposed disposition for supervision"
    ANSWER_AS_DESIGN = "answer a proposed disposition for the design organisation"
    ENTER_CUSTOMER_ANSWER = "enter a customer's answer to a proposed disposition"
    ENTER_ACTION = "enter a corrective action"
    CHECK_ACTION = "check what a corrective action achieved"
    MAKE_SCRAP_UNUSABLE = "record that a scrapped panel was marked and made unusable"
    WITNESS_SCRAP = "witness that a scrapped panel is unusable"
    DRAFT_NOTICE = "draft a notice to a customer"
    SIGN_HEAD = "have the trail's head signed"
    REVIEW_TRAIL = "review the trail"


_I, _S, _E, _A = Role.INSPECTOR, Role.SUPERVISOR, Role.ENGINEER, Role.ADMINISTRATOR
_AUDITOR = Role.AUDITOR

MAY: dict[Act, frozenset[Role]] = {
    Act.ADD_PERSON: frozenset({_A}),
    Act.AUTHORISE: frozenset({_S, _A}),
    Act.ISSUE_MACHINE_TOKEN: frozenset({_A}),
    Act.REGISTER_EQUIPMENT: frozenset({_E}),
    Act.REVIEW_REPORT: frozenset({_S, _E}),
    Act.RECORD_MAINTENANCE: frozenset({_I, _S, _E}),
    Act.WRITE_REQUIREMENT: frozenset({_E}),
    Act.VERIFY_REQUIREMENT: frozenset({_S}),
    Act.WRITE_PROCEDURE: frozenset({_E}),
    Act.WRITE_MAPPING: frozenset({_E, _A}),
    Act.WRITE_CORRECTION_TABLE: frozenset({_E}),
    Act.KEY_AGAIN: frozenset({_I, _S, _E}),
    Act.ENTER_ORDER: frozenset({_S, _E}),
    Act.RECEIVE_MATERIAL: frozenset({_I, _S, _E}),
    Act.ASK_LOT_CORRECTION: frozenset({_I, _S, _E}),
    Act.ANSWER_LOT_CORRECTION: frozenset({_S, _E}),
    Act.PLAN_LOAD: frozenset({_I, _S, _E}),
    Act.START_LOAD: frozenset({_I, _S}),
    Act.ACCEPT_OTHER_LOT: frozenset({_S}),
    Act.RECORD_CUSTODY: frozenset({_I, _S}),
    Act.CHECK_BAG: frozenset({_I, _S}),
    Act.IMPORT_RECORD: frozenset({_I, _S, _E}),
    Act.CONFIRM_LAYOUT: frozenset({_S, _E}),
    Act.ISSUE_TOKEN: frozenset({_A}),
    Act.EXCLUDE_SENSOR: frozenset({_S}),
    Act.UNWRAP: frozenset({_I, _S}),
    Act.MEASURE: frozenset({_I, _S}),
    Act.ASK_VOID: frozenset({_I, _S}),
    Act.APPROVE_VOID: frozenset({_S}),
    Act.OPEN_RETEST: frozenset({_S}),
    Act.ANSWER_CORRECTION: frozenset({_S}),
    Act.QUARANTINE_TESTER: frozenset({_I, _S, _E}),
    Act.LIFT_QUARANTINE: frozenset({_S, _E}),
    Act.REPORT_TROUBLE: frozenset({_I, _S}),
    Act.ANSWER_TROUBLE: frozenset({_S}),
    Act.STUDY_TESTER: frozenset({_S, _E}),
    Act.DIVIDE_PANEL: frozenset({_I, _S}),
    Act.REGISTER_PLACE: frozenset({_S, _E, _A}),
    Act.BRING_PANEL: frozenset({_I, _S, _E}),
    # Whoever sees something wrong may stop it, an auditor too: a hold is always on the safe side.
    Act.PLACE_HOLD: frozenset(Role),
    Act.RELEASE_PANEL: frozenset({_I}),
    Act.LIFT_HOLD: frozenset({_S}),
    Act.CLOSE_RECALL: frozenset({_S}),
    Act.OPEN_NONCONFORMANCE: frozenset({_I, _S, _E}),
    Act.PROPOSE_DISPOSITION: frozenset({_S, _E}),
    Act.ANSWER_AS_QUALITY: frozenset({_E}),
    Act.ANSWER_AS_SUPERVISION: frozenset({_S}),
    # Besides the role, the design organisation's authorisation: see NEEDS.
    Act.ANSWER_AS_DESIGN: frozenset({_E}),
    Act.ENTER_CUSTOMER_ANSWER: frozenset({_S, _E}),
    Act.ENTER_ACTION: frozenset({_S, _E}),
    Act.CHECK_ACTION: frozenset({_S, _E}),
    Act.MAKE_SCRAP_UNUSABLE: frozenset({_I, _S}),
    Act.WITNESS_SCRAP: frozenset({_I, _S, _E}),
    Act.DRAFT_NOTICE: frozenset({_S, _E}),
    Act.SIGN_HEAD: frozenset({_S, _AUDITOR, _A}),
    # The one thing an auditor signs: that the trail was read, and what stood out.
    Act.REVIEW_TRAIL: frozenset({_S, _AUDITOR}),
}


NEEDS: dict[Act, Task] = {
    Act.REVIEW_REPORT: Task.REPORT_REVIEW,
    Act.VERIFY_REQUIREMENT: Task.VERIFICATION,
    Act.RELEASE_PANEL: Task.RELEASE,
    Act.LIFT_HOLD: Task.DISPOSITION,
    Act.CLOSE_RECALL: Task.DISPOSITION,
    Act.ANSWER_AS_SUPERVISION: Task.DISPOSITION,
    Act.ANSWER_AS_DESIGN: Task.DESIGN,
}
"""What an act asks for besides the role: an authorisation that is good on the day.

Readings and surface searches ask for theirs by what is measured or searched: `TESTING` and
`require_task`.
"""


class Hand(StrEnum):
    """What a person has to do with a thing; the value completes "by another person than ...".

    Compared are persons, not accounts. Where the act is for its own people alone
    (``Asked.own``), the value completes "only by ...", and but for a draft it is their account
    that is asked for.
    """

    WROTE = "who wrote the revision"
    ENTERED = "who entered the report"
    PLACED = "who took the tester out of use or made the check that failed"
    WORKED = "who worked at the tester when its check failed"
    BROUGHT_IN = "who brought the record in"
    REPORTED = "who reported the coupon"
    ASKED = "who asked for it"
    TOOK_READING = "who took the reading"
    TOOK_ON_COUPON = "who took a reading of the coupon"
    MEASURED_FIRST = "who took the first readings, where a retest asks for another person"
    TOOK = "who took a reading that the panel rests on"
    CORRECTED = "who asked for or answered a correction of such a reading"
    VOIDED = "who asked for or answered a void of such a reading"
    OPENED = "who opened its nonconformance, where no departure is found"
    ANSWERED = "who answered the proposal in another capacity"
    OWNS_ACTION = "who owns the corrective action"
    MADE_UNUSABLE = "who made the panel unusable"
    HELD = "whom the hold is about"
    FAILED_IT = "who entered the last report on which the held thing failed"
    AUTHORISED = "whose authorisation it is"
    ROLES = "whose roles or stated number they are"
    ACCOUNT = "whose account it is"
    SESSION = "whose bench session it is"
    SESSION_OR_CLOSING = "whose bench session it is (its closing check: a supervisor too)"
    STUDY = "who is named to measure in the study"
    UPLOAD = "who chose the files for a look"
    DRAFT = "who wrote the draft, as long as its values are still to be keyed"


@dataclass(frozen=True, slots=True)
class ActLine:
    """One act as a page shows it.

    ``roles`` may, where they hold the authorisation that ``needs`` names, if it names one; ``on``
    are the states of a panel in which it is taken, empty where the act is on none. ``apart`` are
    the hands that keep a person from it at some address of it, ``own`` those that alone may.
    """

    act: Act
    roles: frozenset[Role]
    needs: Task | None
    on: tuple[str, ...]
    apart: tuple[Hand, ...] = ()
    own: tuple[Hand, ...] = ()


TESTING: dict[str, Task] = {"hardness": Task.HARDNESS, "conductivity": Task.CONDUCTIVITY}
"""What readings of a quantity ask for besides the role. A laboratory's result is typed from its
report, and asks for none."""


def has_role(by: Actor, act: Act) -> bool:
    """Whether any role of the person allows the act, authorised for it or not."""
    return may_by_role(by.roles, act)


def may_by_role(roles: frozenset[str], act: Act) -> bool:
    """Whether any of the roles allows the act."""
    return bool(roles & {role.value for role in MAY[act]})


def may(by: Actor, act: Act) -> bool:
    """Whether the person may do it today: a role allows it, and they are authorised for it."""
    return has_role(by, act) and (act not in NEEDS or NEEDS[act].value in by.authorised)


def missing(by: Actor, task: Task) -> str | None:
    """What stands in the way of a person's doing the task today, as one sentence; None: nothing."""
    if task.value in by.authorised:
        return None
    return (
        f"{by.full_name} holds no authorisation for {task.value} that is good today. A "
        "supervisor or the administrator can grant one, on its training and eye-test records."
    )


def lacks(by: Actor, act: Act) -> str | None:
    """The authorisation that alone keeps the person from the act, as one sentence; else None."""
    return missing(by, NEEDS[act]) if act in NEEDS and has_role(by, act) else None


def missing_to_measure(by: Actor, quantity: str) -> str | None:
    """The same for readings of a quantity; None also where none is asked for."""
    task = TESTING.get(quantity)
    return None if task is None else missing(by, task)


def require_task(by: Actor, task: Task) -> None:
    """Pass if the person is authorised for the task today.

    Raises:
        NotAllowed: they are not, or not any more.
    """
    sentence = missing(by, task)
    if sentence is not None:
        raise NotAllowed(sentence)


def require_to_measure(by: Actor, quantity: str) -> None:
    """Pass if the person may take readings at the bench and is authorised for the quantity today.

    Raises:
        NotAllowed: no role of theirs does, or they hold no authorisation that is good today.
    """
    require(by, Act.MEASURE)
    if quantity in TESTING:
        require_task(by, TESTING[quantity])


def require(by: Actor, act: Act) -> None:
    """Pass if the person may do it today.

    Raises:
        NotAllowed: none of their roles does, and the sentence names those that would; or they hold
            no authorisation for it that is good today.
    """
    require_role(by, act)
    if act in NEEDS:
        require_task(by, NEEDS[act])


def require_role(by: Actor, *acts: Act) -> None:
    """Pass if a role of the person allows one of the acts, authorised for it or not.

    Raises:
        NotAllowed: none of their roles does, and the sentence names those that would.
    """
    if any(has_role(by, act) for act in acts):
        return
    allowed = [role.value for role in Role if any(role in MAY[act] for act in acts)]
    who = allowed[0] if len(allowed) == 1 else f"{', '.join(allowed[:-1])} or {allowed[-1]}"
    article = "an" if who[0] in "aei" else "a"
    raise NotAllowed(
        f"Only {article} {who} may {' or '.join(act.value for act in acts)}; you are signed in as "
        f"{by.full_name} ({', '.join(sorted(by.roles)) or 'no role'})."
    )
