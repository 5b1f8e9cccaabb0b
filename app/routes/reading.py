"""Addresses that show something; none of them changes the record."""

from dataclasses import replace

from app.people.rights import Act, Hand
from app.routes.asked import Asked, Door, Table
from app.routes.sending import SENDING

_OPEN = (
    "/sign-in",
    "/unlock",
)

_MACHINES = (
    "/live/{code:path}/next",
    "/machine/panels/{code:path}",
    "/machine/tree-heads",
)

_FORMS = (
    "/bring",
    "/corrections/{code:path}/keying",
    "/custody",
    "/cycles/{code:path}/keying",
    "/loads/other-lot",
    "/loads/plan",
    "/loads/{code:path}/cancel",
    "/loads/{code:path}/end",
    "/loads/{code:path}/exclude-sensor",
    "/loads/{code:path}/leak-check",
    "/loads/{code:path}/troubles/report",
    "/loads/{code:path}/unwrapping",
    "/nonconformances/{code}/notice",
    "/orders/{number:path}/statement",
    "/orders/{number:path}/table",
    "/panels/{code:path}/nonconformance",
    "/procedures/{code:path}/keying",
    "/register/block",
    "/register/correction-paper",
    "/register/correction-table",
    "/register/coupons",
    "/register/cycle",
    "/register/furnace",
    "/register/gauge",
    "/register/lot",
    "/register/mapping",
    "/register/mapping-paper",
    "/register/order",
    "/register/panel",
    "/register/procedure",
    "/register/procedure-paper",
    "/register/sensor",
    "/register/study",
    "/register/table",
    "/register/table-entry",
    "/register/table-sheet",
    "/register/tester",
    "/register/thermometer",
    "/tables/{code:path}/keying",
)
"""Forms that are shown to those alone who may send them: they ask for what sending asks for."""

_SHOWN = (
    "/",
    "/account",
    "/account/password",
    "/account/second-factor",
    "/bench",
    "/bench/sessions/{session_id}",
    "/bench/sessions/{session_id}/baseline",
    "/blocks/{code:path}",
    "/blocks/{code:path}/certificates/{key:int}",
    "/check-paper",
    "/corrections/{code:path}",
    "/coupons/{code:path}",
    "/coupons/{code:path}/custody",
    "/cycles/{code:path}",
    "/equipment/due",
    "/find",
    "/furnace-checks/{key:int}/loads",
    "/furnaces/{code:path}",
    "/furnaces/{code:path}/checks/{key:int}",
    "/furnaces/{code:path}/history",
    "/furnaces/{code:path}/qualifications/{key:int}",
    "/gauges/{code:path}",
    "/gauges/{code:path}/certificates/{key:int}",
    "/holds",
    "/holds/place",
    "/holds/{hold_id:int}",
    "/holds/{hold_id:int}/tag",
    "/loads",
    "/loads/{code:path}",
    "/loads/{code:path}/custody",
    "/loads/{code:path}/live",
    "/loads/{code:path}/live.svg",
    "/loads/{code:path}/live/points",
    "/loads/{code:path}/live/state",
    "/loads/{code:path}/photographs/of/{panel:path}",
    "/loads/{code:path}/photographs/{key:int}",
    "/loads/{code:path}/photographs/{key:int}/small",
    "/loads/{code:path}/record.svg",
    "/loads/{code:path}/record/layout",
    "/loads/{code:path}/record/original",
    "/loads/{code:path}/record/points",
    "/loads/{code:path}/sensor-map",
    "/loads/{code:path}/start",
    "/logger-tokens",
    "/logger-tokens/sending",
    "/lots",
    "/lots/{code:path}",
    "/mappings/{code:path}",
    "/mappings/{code:path}/paper",
    "/nonconformances",
    "/nonconformances/{code}",
    "/nonconformances/{code}/notices/{key:int}",
    "/orders",
    "/orders/{number:path}",
    "/panels",
    "/panels/{code:path}",
    "/panels/{code:path}/decision",
    "/panels/{code:path}/divide",
    "/panels/{code:path}/scrap",
    "/panels/{code:path}/tag",
    "/people",
    "/people/authorisations",
    "/people/tokens",
    "/people/{username}",
    "/places",
    "/places/{code:path}",
    "/procedures/{code:path}",
    "/recalls",
    "/register/table-sheet/blank",
    "/register/table-sheet/workbook",
    "/report-files/{sha256}",
    "/rests-on/{code:path}",
    "/reviews",
    "/sensors",
    "/sensors/{code:path}",
    "/sensors/{code:path}/certificates/{key:int}",
    "/shop",
    "/studies",
    "/studies/{number:int}",
    "/tables/{code:path}",
    "/tester-certificates/{key:int}/measured",
    "/testers/{code:path}",
    "/testers/{code:path}/certificates/{key:int}",
    "/testers/{code:path}/chart",
    "/thermometers/{code:path}",
    "/thermometers/{code:path}/certificates/{key:int}",
    "/trail",
    "/trail.csv",
    "/trail/check",
    "/trail/exceptions",
    "/trail/heads",
    "/trail/heads/check",
    "/trail/heads/{size:int}",
    "/trail/heads/{size:int}.txt",
    "/trail/review",
    "/trail/reviews",
    "/trail/reviews/{key:int}",
    "/trail/{number:int}",
    "/troubles/{key:int}",
)
"""Everybody signed in reads everything, and on most pages the forms show only to who may send."""

_DRAFTS = (
    "/corrections/{code:path}/paper",
    "/cycles/{code:path}/paper",
    "/procedures/{code:path}/paper",
    "/tables/{code:path}/paper",
    "/what-if",
)
"""What shows a revision's values: while they are still to be keyed, to who wrote it alone."""

READING: Table = {
    ("GET", path): Asked(door)
    for door, paths in ((Door.OPEN, _OPEN), (Door.TOKEN, _MACHINES), (Door.SIGNED_IN, _SHOWN))
    for path in paths
} | {
    ("GET", "/furnaces/{code:path}/checks/new"): Asked(Door.SIGNED_IN, (Act.REGISTER_EQUIPMENT,)),
    **{
        ("GET", path): replace(SENDING["POST", path], on=frozenset())  # A form is shown anyhow.
        for path in _FORMS
    },
    **{("GET", path): Asked(Door.SIGNED_IN, own=(Hand.DRAFT,)) for path in _DRAFTS},
    ("GET", "/bench/sessions/{session_id}/scan"): Asked(
        Door.SIGNED_IN, apart=(Hand.MEASURED_FIRST,), own=(Hand.SESSION,)
    ),
    ("GET", "/loads/{code:path}/record"): Asked(
        Door.SIGNED_IN, SENDING["POST", "/loads/{code:path}/record"].acts, own=(Hand.UPLOAD,)
    ),
}
"""What each address asks for that shows a page, a picture or a file."""
