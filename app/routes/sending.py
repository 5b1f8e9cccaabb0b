"""Addresses that take what is sent to them, each with the act that sending is."""

from app.panels.records import ENDED, IN_USE, UNDECIDED, Decided
from app.people.rights import Act, Hand
from app.routes.asked import Asked, Door, Table

_NOT_ENDED = frozenset(Decided) - frozenset(ENDED)
_UNDECIDED = frozenset(UNDECIDED)
_IN_USE = frozenset(IN_USE)
_SCRAPPED = frozenset({Decided.SCRAPPED})

_OPEN = (
    "/sign-in",
    "/unlock",
)

_MACHINES = (
    "/live/{code:path}/close",
    "/live/{code:path}/open",
    "/live/{code:path}/rows",
)

_THEIR_OWN = (
    "/account/password",
    "/account/second-factor",
    "/account/second-factor/off",
    "/account/sign-out-everywhere",
    "/mappings/{code:path}/try",
    "/places/{code:path}/walk",
    "/sign-out",
    "/trail/heads/check",
)
"""What changes only one's own account, or nothing at all: everybody signed in may send it."""


def _act(
    *acts: Act,
    on: frozenset[Decided] = frozenset(),
    apart: tuple[Hand, ...] = (),
    own: tuple[Hand, ...] = (),
) -> Asked:
    """One of the acts, by role; on a panel only in one of the states.

    By another person than each of ``apart``, and only by one of ``own``.
    """
    return Asked(Door.SIGNED_IN, acts, on, apart, own)


_ON_ACCOUNT = _act(Act.ADD_PERSON, apart=(Hand.ACCOUNT,))
_AUTHORISE = _act(Act.AUTHORISE, apart=(Hand.AUTHORISED,))
_REVIEW = _act(Act.REVIEW_REPORT, apart=(Hand.ENTERED,))
_KEY_AGAIN = _act(Act.KEY_AGAIN, apart=(Hand.WROTE,))
_VERIFY = _act(Act.VERIFY_REQUIREMENT, apart=(Hand.WROTE,))
_IN_SESSION = _act(Act.MEASURE, own=(Hand.SESSION,))
_CLEAN_HANDS = (Hand.TOOK, Hand.CORRECTED, Hand.VOIDED)

_ACTS = {
    "/people/{username}/second-factor/reset": _ON_ACCOUNT,
    "/people": _act(Act.ADD_PERSON),
    "/people/tokens": _act(Act.ISSUE_MACHINE_TOKEN),
    "/people/tokens/{token_id:int}/end": _act(Act.ISSUE_MACHINE_TOKEN),
    "/people/{username}/change": _act(Act.ADD_PERSON, apart=(Hand.ROLES,)),
    "/people/{username}/close": _ON_ACCOUNT,
    "/people/{username}/reopen": _ON_ACCOUNT,
    "/people/{username}/first-password": _ON_ACCOUNT,
    "/people/{username}/authorisations": _AUTHORISE,
    "/people/{username}/authorisations/{authorisation_id:int}/end": _AUTHORISE,
    "/register/furnace": _act(Act.REGISTER_EQUIPMENT),
    "/register/sensor": _act(Act.REGISTER_EQUIPMENT),
    "/register/gauge": _act(Act.REGISTER_EQUIPMENT),
    "/register/thermometer": _act(Act.REGISTER_EQUIPMENT),
    "/register/tester": _act(Act.REGISTER_EQUIPMENT),
    "/register/block": _act(Act.REGISTER_EQUIPMENT),
    "/furnaces/{code:path}/checks/{key:int}/review": _REVIEW,
    "/furnaces/{code:path}/qualifications/{key:int}/review": _REVIEW,
    "/sensors/{code:path}/certificates/{key:int}/review": _REVIEW,
    "/gauges/{code:path}/certificates/{key:int}/review": _REVIEW,
    "/testers/{code:path}/certificates/{key:int}/review": _REVIEW,
    "/thermometers/{code:path}/certificates/{key:int}/review": _REVIEW,
    "/blocks/{code:path}/certificates/{key:int}/review": _REVIEW,
    "/furnaces/{code:path}/checks": _act(Act.REGISTER_EQUIPMENT),
    "/furnaces/{code:path}/qualifications": _act(Act.REGISTER_EQUIPMENT),
    "/furnaces/{code:path}/maintenance": _act(Act.RECORD_MAINTENANCE),
    "/testers/{code:path}/quarantine": _act(Act.QUARANTINE_TESTER),
    "/testers/{code:path}/quarantine/lift": _act(
        Act.LIFT_QUARANTINE, apart=(Hand.PLACED, Hand.WORKED)
    ),
    "/sensors/{code:path}/certificates": _act(Act.REGISTER_EQUIPMENT),
    "/gauges/{code:path}/certificates": _act(Act.REGISTER_EQUIPMENT),
    "/thermometers/{code:path}/certificates": _act(Act.REGISTER_EQUIPMENT),
    "/testers/{code:path}/certificates": _act(Act.REGISTER_EQUIPMENT),
    "/register/table": _act(Act.WRITE_REQUIREMENT),
    "/register/table-entry": _act(Act.WRITE_REQUIREMENT),
    "/register/cycle": _act(Act.WRITE_REQUIREMENT),
    "/register/table-sheet": _act(Act.WRITE_REQUIREMENT),
    "/register/procedure": _act(Act.WRITE_PROCEDURE),
    "/register/procedure-paper": _act(Act.WRITE_PROCEDURE),
    "/register/mapping": _act(Act.WRITE_MAPPING),
    "/register/mapping-paper": _act(Act.WRITE_MAPPING),
    "/register/correction-table": _act(Act.WRITE_CORRECTION_TABLE),
    "/register/correction-paper": _act(Act.WRITE_CORRECTION_TABLE),
    "/register/order": _act(Act.ENTER_ORDER),
    "/orders/{number:path}/statement": _act(Act.ENTER_ORDER),
    "/orders/{number:path}/table": _act(Act.WRITE_REQUIREMENT),
    "/tables/{code:path}/keying": _KEY_AGAIN,
    "/cycles/{code:path}/keying": _KEY_AGAIN,
    "/procedures/{code:path}/keying": _KEY_AGAIN,
    "/corrections/{code:path}/keying": _KEY_AGAIN,
    "/tables/{code:path}/verify": _VERIFY,
    "/tables/{code:path}/withdraw": _act(Act.VERIFY_REQUIREMENT, Act.WRITE_REQUIREMENT),
    "/cycles/{code:path}/verify": _VERIFY,
    "/cycles/{code:path}/withdraw": _act(Act.VERIFY_REQUIREMENT, Act.WRITE_REQUIREMENT),
    "/procedures/{code:path}/verify": _VERIFY,
    "/procedures/{code:path}/withdraw": _act(Act.VERIFY_REQUIREMENT, Act.WRITE_PROCEDURE),
    "/mappings/{code:path}/verify": _VERIFY,
    "/mappings/{code:path}/withdraw": _act(Act.VERIFY_REQUIREMENT, Act.WRITE_MAPPING),
    "/corrections/{code:path}/verify": _VERIFY,
    "/corrections/{code:path}/withdraw": _act(Act.VERIFY_REQUIREMENT, Act.WRITE_CORRECTION_TABLE),
    "/register/lot": _act(Act.RECEIVE_MATERIAL),
    "/lots/{code:path}/correct": _act(Act.ASK_LOT_CORRECTION),
    "/lots/{code:path}/correction-answer": _act(Act.ANSWER_LOT_CORRECTION, apart=(Hand.ASKED,)),
    "/register/panel": _act(Act.RECEIVE_MATERIAL),
    "/register/coupons": _act(Act.RECEIVE_MATERIAL),
    "/custody": _act(Act.RECORD_CUSTODY),
    "/places": _act(Act.REGISTER_PLACE),
    "/bring": _act(Act.BRING_PANEL),
    "/logger-tokens": _act(Act.ISSUE_TOKEN),
    "/logger-tokens/{token_id:int}/revoke": _act(Act.ISSUE_TOKEN),
    "/loads/plan": _act(Act.PLAN_LOAD),
    "/loads/other-lot": _act(Act.ACCEPT_OTHER_LOT),
    "/loads/{code:path}/photographs/of/{panel:path}": _act(Act.UNWRAP),
    "/loads/{code:path}/record": _act(Act.IMPORT_RECORD),
    "/loads/{code:path}/record/keep": _act(Act.IMPORT_RECORD, own=(Hand.UPLOAD,)),
    "/loads/{code:path}/record/layout": _act(Act.CONFIRM_LAYOUT, apart=(Hand.BROUGHT_IN,)),
    "/loads/{code:path}/live/close": _act(Act.IMPORT_RECORD),
    "/loads/{code:path}/leak-check": _act(Act.CHECK_BAG),
    "/loads/{code:path}/start": _act(Act.START_LOAD),
    "/loads/{code:path}/end": _act(Act.START_LOAD),
    "/loads/{code:path}/cancel": _act(Act.PLAN_LOAD),
    "/loads/{code:path}/troubles/report": _act(Act.REPORT_TROUBLE),
    "/troubles/{key:int}": _act(Act.ANSWER_TROUBLE, apart=(Hand.REPORTED,)),
    "/loads/{code:path}/unwrapping": _act(Act.UNWRAP),
    "/loads/{code:path}/exclude-sensor": _act(Act.EXCLUDE_SENSOR),
    "/bench/sessions": _act(Act.MEASURE),
    "/bench/sessions/{session_id}/check": _act(Act.MEASURE, own=(Hand.SESSION_OR_CLOSING,)),
    "/bench/sessions/{session_id}/readings": _act(
        Act.MEASURE, apart=(Hand.MEASURED_FIRST,), own=(Hand.SESSION,)
    ),
    "/bench/sessions/{session_id}/draft": _IN_SESSION,
    "/bench/sessions/{session_id}/baseline": _IN_SESSION,
    "/coupons/{code:path}/custody": _act(Act.RECORD_CUSTODY),
    "/loads/{code:path}/custody": _act(Act.RECORD_CUSTODY),
    "/coupons/{code:path}/correct": _act(Act.MEASURE),
    "/coupons/{code:path}/void": _act(Act.ASK_VOID),
    "/coupons/{code:path}/void-answer": _act(
        Act.APPROVE_VOID, apart=(Hand.ASKED, Hand.TOOK_READING)
    ),
    "/coupons/{code:path}/correction-answer": _act(
        Act.ANSWER_CORRECTION, apart=(Hand.ASKED, Hand.TOOK_ON_COUPON)
    ),
    "/coupons/{code:path}/retest": _act(Act.OPEN_RETEST),
    "/coupons/{code:path}/laboratory": _act(Act.MEASURE),
    "/register/study": _act(Act.STUDY_TESTER),
    "/studies/{number:int}/readings": _act(Act.MEASURE, own=(Hand.STUDY,)),
    "/studies/{number:int}/close": _act(Act.STUDY_TESTER),
    "/studies/{number:int}/give-up": _act(Act.STUDY_TESTER),
    "/panels/{code:path}/hold": _act(Act.PLACE_HOLD, on=_NOT_ENDED),
    "/panels/{code:path}/release": _act(Act.RELEASE_PANEL, on=_UNDECIDED, apart=_CLEAN_HANDS),
    "/panels/{code:path}/lift": _act(Act.LIFT_HOLD, on=_UNDECIDED, apart=(Hand.TOOK, Hand.OPENED)),
    "/holds/place": _act(Act.PLACE_HOLD),
    "/holds/{hold_id:int}/lift": _act(Act.LIFT_HOLD, apart=(Hand.HELD, Hand.FAILED_IT)),
    "/panels/{code:path}/nonconformance": _act(Act.OPEN_NONCONFORMANCE, on=_NOT_ENDED),
    "/nonconformances/{code}/proposals": _act(Act.PROPOSE_DISPOSITION),
    "/nonconformances/{code}/answers": _act(
        Act.ANSWER_AS_QUALITY,
        Act.ANSWER_AS_SUPERVISION,
        Act.ANSWER_AS_DESIGN,
        Act.ENTER_CUSTOMER_ANSWER,
        apart=(Hand.ANSWERED, *_CLEAN_HANDS),
    ),
    "/nonconformances/{code}/actions": _act(Act.ENTER_ACTION),
    "/nonconformances/{code}/actions/{key:int}/check": _act(
        Act.CHECK_ACTION, apart=(Hand.OWNS_ACTION,)
    ),
    "/nonconformances/{code}/notice": _act(Act.DRAFT_NOTICE),
    "/panels/{code:path}/scrap": _act(Act.MAKE_SCRAP_UNUSABLE, on=_SCRAPPED),
    "/panels/{code:path}/scrap/witness": _act(
        Act.WITNESS_SCRAP, on=_SCRAPPED, apart=(Hand.MADE_UNUSABLE,)
    ),
    "/panels/{code:path}/divide": _act(Act.DIVIDE_PANEL, on=_NOT_ENDED),
    "/panels/{code:path}/mark-anew": _act(Act.DIVIDE_PANEL, on=_NOT_ENDED),
    "/recalls": _act(Act.CLOSE_RECALL, on=_IN_USE, apart=_CLEAN_HANDS),
    "/trail/heads": _act(Act.SIGN_HEAD),
    "/trail/review": _act(Act.REVIEW_TRAIL),
}

SENDING: Table = (
    {("POST", path): asked for path, asked in _ACTS.items()}
    | {("POST", path): Asked(Door.OPEN) for path in _OPEN}
    | {("POST", path): Asked(Door.TOKEN) for path in _MACHINES}
    | {("POST", path): Asked(Door.SIGNED_IN) for path in _THEIR_OWN}
)
"""What each address asks for that takes something."""
