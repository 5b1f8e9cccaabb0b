"""What the form for a check on a reference block shows."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.audit.actor import Actor
from app.bench import service
from app.bench.pages.asked import Asked
from app.bench.queries import StandardsAsked
from app.bench.queries.instruments import BlockChoice
from app.bench.queries.sessions import BenchAtWork
from app.bench.records import CheckMoment
from app.bench.rules.bracketing import Standing
from app.bench.rules.standards import frames, pair_for
from app.people.rights import Act, Role, may, missing_to_measure

_FIELDS = {"hardness": 3, "conductivity": 1}


@dataclass(frozen=True, slots=True)
class CheckForm:
    """A check that can be made: its moment, the blocks to choose from, and how many fields.

    ``picked`` is the block proposed; ``left`` are blocks still to be checked after this one, and
    ``stand_ins`` the blocks among the choices that were not in the opening.
    """

    moment: str
    blocks: tuple[tuple[str, str], ...]
    picked: str
    left: tuple[str, ...]
    stand_ins: bool
    fields: tuple[int, ...]
    may_add: bool


@dataclass(frozen=True, slots=True)
class StandardsLeft:
    """A pair of standards that coupons want and that the session's opening does not have yet.

    ``pair`` are two usable standards that would do; None where the shop has none such.
    """

    words: str
    coupons: tuple[str, ...]
    pair: tuple[str, str] | None


def may_check(bench: BenchAtWork, by: Actor, moment: CheckMoment) -> bool:
    """Whether the person may make that check: the operator, or at the close a supervisor.

    Either has to be authorised for what is measured.
    """
    if missing_to_measure(by, bench.quantity) is not None:
        return False
    covers = moment is CheckMoment.CLOSING and Role.SUPERVISOR.value in by.roles
    return may(by, Act.MEASURE) and (bench.operator_id == by.id or covers)


def standards_left(
    bench: BenchAtWork, asked: StandardsAsked, blocks: Sequence[BlockChoice]
) -> list[StandardsLeft]:
    """The pairs that the coupons which wait want, and that the opening does not have yet."""
    opened = [one for one in bench.checks if one.outcome == "conforms"]
    usable = [one.standard for one in blocks]
    left = []
    for wanted in asked.wanted:
        if frames(wanted, [one.certified for one in opened], bench.unit):
            continue
        begun = [one for one in usable if one.code in bench.opened_on]
        pairs = (pair_for(wanted, usable, bench.unit, with_one=one) for one in (*begun, None))
        pair = next((one for one in pairs if one is not None), None)
        words = wanted.words_without_limits if asked.blind else wanted.words
        codes = None if pair is None else (pair[0].code, pair[1].code)
        left.append(StandardsLeft(words, asked.coupons[wanted], codes))
    return left


def moment_wanted(bench: BenchAtWork, asked: Asked, *, is_used: bool) -> CheckMoment | None:
    """The moment of the check that comes next or was asked for; None where none can be made."""
    standing = bench.standing
    if standing is Standing.AWAITING_OPENING:
        return CheckMoment.OPENING
    if standing is Standing.CLOSING:
        return CheckMoment.CLOSING
    if standing is Standing.OPEN and asked.check in set(CheckMoment):
        moment = CheckMoment(asked.check)
        return None if moment is CheckMoment.OPENING and is_used else moment
    return None


def check_form(
    bench: BenchAtWork,
    by: Actor,
    asked: Asked,
    moment: CheckMoment | None,
    *,
    blocks: Sequence[BlockChoice],
    left: Sequence[StandardsLeft],
) -> CheckForm | None:
    """The form of the check at that moment; None where there is none, or the person may not."""
    if moment is None or not may_check(bench, by, moment):
        return None
    proposed = _proposed(bench, moment, left)
    choices = _choices(bench, moment, blocks, proposed)
    rest = [one for one in blocks if one not in choices]
    may_stand_in = Role.SUPERVISOR.value in by.roles or len(choices) < len(proposed)
    stand_ins = rest if moment is not CheckMoment.OPENING and may_stand_in else []
    codes = [one.code for one in choices]
    picked = next((code for code in proposed if code in codes), codes[0] if len(codes) == 1 else "")
    fields = min(max(asked.fields, _FIELDS[bench.quantity]), service.MOST_READINGS)
    return CheckForm(
        moment=moment.value,
        blocks=tuple((one.code, one.words) for one in (*choices, *stand_ins)),
        picked=picked,
        left=proposed[1:] if moment is CheckMoment.CLOSING else (),
        stand_ins=bool(stand_ins),
        fields=tuple(range(1, fields + 1)),
        may_add=fields < service.MOST_READINGS,
    )


def _proposed(
    bench: BenchAtWork, moment: CheckMoment, left: Sequence[StandardsLeft]
) -> tuple[str, ...]:
    """The blocks that this check is to be made on, the one to be made first in front.

    At the opening, one whose check has just failed and those that coupons want; none where any will
    do.
    """
    if moment is CheckMoment.CLOSING:
        return bench.to_close
    last = {one.block: one for one in bench.checks}
    if moment is CheckMoment.INTERIM:
        return tuple(sorted(bench.opened_on, key=lambda block: last[block].at))
    failed = [one.block for one in last.values() if one.outcome != "conforms"]
    wanted = [code for one in left for code in one.pair or () if code not in last]
    return tuple(dict.fromkeys((*failed, *wanted)))


def _choices(
    bench: BenchAtWork, moment: CheckMoment, blocks: Sequence[BlockChoice], proposed: Sequence[str]
) -> list[BlockChoice]:
    """The blocks to choose from; at the opening all that have no conforming check yet."""
    if moment is not CheckMoment.OPENING:
        return [one for one in blocks if one.code in proposed]
    done = {one.block for one in bench.checks if one.outcome == "conforms"}
    return [one for one in blocks if one.code not in done]
