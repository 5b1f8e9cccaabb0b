"""Who may do what: one table, asked by every service before it acts."""

from enum import StrEnum

from app.audit.actor import Actor
from app.errors import NotAllowed


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
    REGISTER_EQUIPMENT = "register furnaces, sensors, gauges, thermometers, testers and blocks"
    REVIEW_REPORT = "review reports and certificates"
    RECORD_MAINTENANCE = "record work on a furnace"
    WRITE_REQUIREMENT = "write acceptance tables and cycles"
    VERIFY_REQUIREMENT = "verify tables, cycles, procedures and mappings"
    WRITE_PROCEDURE = "write pyrometry procedures"
    WRITE_MAPPING = "write logger mappings"
    WRITE_CORRECTION_TABLE = "write correction tables"
    RECEIVE_MATERIAL = "receive material and register panels and coupons"
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
    PLACE_HOLD = "put a panel on hold"
    RELEASE_PANEL = "release a panel"
    LIFT_HOLD = "lift a hold"


_I, _S, _E, _A = Role.INSPECTOR, Role.SUPERVISOR, Role.ENGINEER, Role.ADMINISTRATOR

MAY: dict[Act, frozenset[Role]] = {
    Act.ADD_PERSON: frozenset({_A}),
    Act.REGISTER_EQUIPMENT: frozenset({_E}),
    Act.REVIEW_REPORT: frozenset({_S, _E}),
    Act.RECORD_MAINTENANCE: frozenset({_I, _S, _E}),
    Act.WRITE_REQUIREMENT: frozenset({_E}),
    Act.VERIFY_REQUIREMENT: frozenset({_S}),
    Act.WRITE_PROCEDURE: frozenset({_E}),
    Act.WRITE_MAPPING: frozenset({_E, _A}),
    Act.WRITE_CORRECTION_TABLE: frozenset({_E}),
    Act.RECEIVE_MATERIAL: frozenset({_I, _S, _E}),
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
    # Anyone who works on the record may stop a panel; only an auditor, who writes nothing, may not.
    Act.PLACE_HOLD: frozenset({_I, _S, _E, _A}),
    Act.RELEASE_PANEL: frozenset({_I}),
    Act.LIFT_HOLD: frozenset({_S}),
}


def may(by: Actor, act: Act) -> bool:
    """Whether any role of the person allows the act."""
    return bool(by.roles & {role.value for role in MAY[act]})


def require(by: Actor, act: Act) -> None:
    """Pass if the person may do it.

    Raises:
        NotAllowed: none of their roles does; the sentence names those that would.
    """
    if not may(by, act):
        allowed = [role.value for role in Role if role in MAY[act]]
        who = allowed[0] if len(allowed) == 1 else f"{', '.join(allowed[:-1])} or {allowed[-1]}"
        article = "an" if who[0] in "aei" else "a"
        raise NotAllowed(
            f"Only {article} {who} may {act.value}; you are signed in as {by.full_name} "
            f"({', '.join(sorted(by.roles)) or 'no role'})."
        )
