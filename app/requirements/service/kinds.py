"""What differs between the kinds of verified paper: their words on the trail and addresses."""

from dataclasses import dataclass

from app.audit.tags import Tag
from app.people.records import Meaning
from app.people.rights import Act
from app.requirements.records import RequirementKind


@dataclass(frozen=True, slots=True)
class Named:
    """Which revision of which requirement."""

    kind: RequirementKind
    code: str
    revision: str


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind: its tags, what its verification says, and how its pages are named.

    ``identity`` is its kind on the trail, ``place`` begins its pages' addresses, ``register`` is
    the address of its form, and ``again`` of the form that opens filled in with a draft.
    ``template`` shows one of them; ``writes`` is the act of writing; ``names_itself`` says that the
    paper names its own revision, ``keyed`` that a second person keys its values from the source
    before it is verified. ``before`` says what is not done before a revision is verified,
    ``after_withdrawal`` what is not done any more after it.
    """

    identity: str
    written: Tag
    verified: Tag
    withdrawn: Tag
    meaning: Meaning
    writes: Act
    place: str
    register: str
    again: str
    template: str
    names_itself: bool
    keyed: bool
    before: str
    after_withdrawal: str


KINDS = {
    RequirementKind.ACCEPTANCE_TABLE: Kind(
        identity="acceptance_table",
        written=Tag.TABLE_WRITTEN,
        verified=Tag.TABLE_VERIFIED,
        withdrawn=Tag.TABLE_WITHDRAWN,
        meaning=Meaning.VERIFIED_TABLE,
        writes=Act.WRITE_REQUIREMENT,
        place="/tables",
        register="/register/table",
        again="/register/table",
        template="requirements/table.html",
        names_itself=True,
        keyed=True,
        before="Nothing may be judged by this revision",
        after_withdrawal="no new load may use this revision",
    ),
    RequirementKind.CYCLE: Kind(
        identity="cycle",
        written=Tag.CYCLE_WRITTEN,
        verified=Tag.CYCLE_VERIFIED,
        withdrawn=Tag.CYCLE_WITHDRAWN,
        meaning=Meaning.VERIFIED_CYCLE,
        writes=Act.WRITE_REQUIREMENT,
        place="/cycles",
        register="/register/cycle",
        again="/register/cycle",
        template="requirements/cycle.html",
        names_itself=False,
        keyed=True,
        before="Nothing may be judged by this revision",
        after_withdrawal="no new load may use this revision",
    ),
    RequirementKind.PYROMETRY_PROCEDURE: Kind(
        identity="pyrometry_procedure",
        written=Tag.PROCEDURE_WRITTEN,
        verified=Tag.PROCEDURE_VERIFIED,
        withdrawn=Tag.PROCEDURE_WITHDRAWN,
        meaning=Meaning.VERIFIED_PROCEDURE,
        writes=Act.WRITE_PROCEDURE,
        place="/procedures",
        register="/register/procedure",
        again="/register/procedure",
        template="requirements/procedure.html",
        names_itself=True,
        keyed=True,
        before="No furnace is governed by this revision",
        after_withdrawal="no furnace is governed by this revision",
    ),
    RequirementKind.LOGGER_MAPPING: Kind(
        identity="logger_mapping",
        written=Tag.MAPPING_WRITTEN,
        verified=Tag.MAPPING_VERIFIED,
        withdrawn=Tag.MAPPING_WITHDRAWN,
        meaning=Meaning.VERIFIED_MAPPING,
        writes=Act.WRITE_MAPPING,
        place="/mappings",
        register="/register/mapping",
        again="/register/mapping",
        template="requirements/mapping.html",
        names_itself=False,
        keyed=False,
        before="No record is read by this revision",
        after_withdrawal="no further record is read by this revision",
    ),
    RequirementKind.CORRECTION_TABLE: Kind(
        identity="correction_table",
        written=Tag.CORRECTION_TABLE_WRITTEN,
        verified=Tag.CORRECTION_TABLE_VERIFIED,
        withdrawn=Tag.CORRECTION_TABLE_WITHDRAWN,
        meaning=Meaning.VERIFIED_CORRECTION_TABLE,
        writes=Act.WRITE_CORRECTION_TABLE,
        place="/corrections",
        register="/register/correction-table",
        again="/register/correction-paper",
        template="requirements/correction_table.html",
        names_itself=True,
        keyed=True,
        before="No reading is corrected by this revision",
        after_withdrawal="no further reading is corrected by this revision",
    ),
}
