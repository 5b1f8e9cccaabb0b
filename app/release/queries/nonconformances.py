"""What is read about nonconformances, what is proposed for them, and how it was answered."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from typing import Any

from sqlalchemy import Row, exists, func, select
from sqlalchemy.orm import Session

from app.database import paper_sha256
from app.errors import NotFound
from app.panels.records import Decided
from app.people.queries import one_person
from app.people.records import Authorisation, Signature
from app.release.queries.open_nonconformances import (
    IS_OPEN,
    facts_of,
    select_nonconformances,
)
from app.release.queries.panel_facts import panel_facts
from app.release.records import Decision, DispositionProposal, Nonconformance, ProposalAnswer
from app.release.rules.dispositions import (
    AnswerFacts,
    ProposalFacts,
    answer_content,
    hands_in,
    proposal_content,
    waits_for,
    what_stands_in_the_way,
)
from app.release.rules.facts import NonconformanceFacts, PanelFacts
from app.release.rules.gates import evidence
from app.release.rules.snapshot import snapshot
from app.requirements.records import CustomerOrder


@dataclass(frozen=True, slots=True)
class Weighed:
    """A nonconformance's proposals, in their order, and what stands in the way of the last."""

    proposals: tuple[ProposalFacts, ...]
    in_the_way: tuple[str, ...]
    customer_asked: bool

    @property
    def last(self) -> ProposalFacts | None:
        """The proposal that stands; the earlier ones are kept to be read."""
        return self.proposals[-1] if self.proposals else None


@dataclass(frozen=True, slots=True)
class NonconformanceLine:
    """A nonconformance as lists show it, with the panel's standing words and what it waits for.

    ``weighed`` and ``hands`` (who took, corrected or voided readings of the panel) say who can give
    that; they are there where it is open and no other was opened on the panel since.
    """

    facts: NonconformanceFacts
    panel_id: int
    panel: str
    opened_by: str
    waits_for: str
    weighed: Weighed | None = None
    hands: frozenset[int] = frozenset()


def nonconformance(session: Session, code: str) -> Nonconformance:
    """The nonconformance of that identity.

    Raises:
        NotFound: there is none.
    """
    found = session.scalars(select(Nonconformance).where(Nonconformance.code == code)).one_or_none()
    if found is None:
        raise NotFound(f"No nonconformance {code} is on record. Check the number.")
    return found


def is_open(session: Session, nonconformance_id: int) -> bool:
    """Whether no decision has carried out its disposition, or found that nothing departed."""
    return bool(
        session.scalar(select(exists().where(Nonconformance.id == nonconformance_id, IS_OPEN)))
    )


def overtaken_by(session: Session, row: Nonconformance) -> str | None:
    """The code of the newest nonconformance opened on the panel since; None where none was."""
    newest = session.scalar(
        select(Nonconformance.code)
        .where(Nonconformance.panel_id == row.panel_id)
        .order_by(Nonconformance.id.desc())
        .limit(1)
    )
    return None if newest == row.code else newest


def open_lines(session: Session, *, zone: tzinfo) -> list[NonconformanceLine]:
    """The open ones, the longest open first, each with what it waits for."""
    rows = open_rows(session)
    facts = panel_facts(session, {row.panel_id for row in rows}, zone=zone, in_full=True)
    return lines_of(session, rows, facts)


def open_rows(session: Session) -> Sequence[Row[Any]]:
    """The open ones as :func:`lines_of` takes them, the longest open first; one statement."""
    found = session.execute(select_nonconformances().where(IS_OPEN).order_by(Nonconformance.id))
    rows: Sequence[Row[Any]] = found.all()
    return rows


def lines_of(
    session: Session, rows: Sequence[Row[Any]], facts: Mapping[int, PanelFacts]
) -> list[NonconformanceLine]:
    """Open ones with what each waits for; ``facts`` has those of their panels, in full, by id."""
    lines = []
    newest = {row.panel_id: row.code for row in rows}
    all_weighed = weigh_all(session, {row.id: (row.code, facts[row.panel_id]) for row in rows})
    for row in rows:
        if newest[row.panel_id] != row.code:
            words = f"{newest[row.panel_id]}, which was opened on the panel since"
        elif facts[row.panel_id].decided == Decided.REPLACED.value:
            words = "decisions on the panels that came of it, which are held for it"
            lines.append(_line(row, words))
            continue
        weighed = all_weighed[row.id]
        words = waits_for(
            weighed.proposals,
            in_the_way=weighed.in_the_way,
            customer_asked=weighed.customer_asked,
        )
        hands = hands_in(facts[row.panel_id])
        lines.append(replace(_line(row, words), weighed=weighed, hands=hands))
    return lines


def closed_lines(session: Session, *, before: int | None, most: int) -> list[NonconformanceLine]:
    """The closed ones, newest first; ``before`` is the id after which to go on."""
    wanted = select_nonconformances().where(~IS_OPEN)
    if before is not None:
        wanted = wanted.where(Nonconformance.id < before)
    rows = session.execute(wanted.order_by(Nonconformance.id.desc()).limit(most))
    return [_line(row, "") for row in rows]


def _line(row: Any, words: str) -> NonconformanceLine:
    return NonconformanceLine(facts_of(row), row.panel_id, row.panel, row.opened_by, words)


def weigh(session: Session, code: str, key: int, facts: PanelFacts) -> Weighed:
    """The proposals of a nonconformance against the panel's evidence as it stands now."""
    return weigh_all(session, {key: (code, facts)})[key]


def weigh_all(session: Session, named: Mapping[int, tuple[str, PanelFacts]]) -> dict[int, Weighed]:
    """The same for many at once, by id: as many statements as for one.

    ``named`` gives a nonconformance's code and its panel's facts.
    """
    bare = {key: (code, facts.code) for key, (code, facts) in named.items()}
    proposals = _proposals(session, bare)
    orders = _orders_that_ask(session, {facts.order_number for _, facts in named.values()})
    people = one_person(session) if any(proposals.values()) else {}
    found = {}
    for key, (_, facts) in named.items():
        asked = facts.order_number in orders
        in_the_way: list[str] = []
        if proposals[key]:
            in_the_way = what_stands_in_the_way(
                proposals[key][-1],
                evidence_sha256=paper_sha256(snapshot(facts, evidence(facts))),
                customer_asked=asked,
                hands=hands_in(facts),
                one_person=people,
            )
        found[key] = Weighed(proposals[key], tuple(in_the_way), asked)
    return found


def customer_asked(session: Session, order_number: str) -> bool:
    """Whether the order is on record and says that rework needs the customer."""
    return order_number in _orders_that_ask(session, {order_number})


def _orders_that_ask(session: Session, numbers: Collection[str]) -> set[str]:
    return set(
        session.scalars(
            select(CustomerOrder.number).where(
                CustomerOrder.number.in_(numbers), CustomerOrder.rework_needs_customer
            )
        )
    )


def proposals_of(session: Session, code: str, key: int, panel: str) -> tuple[ProposalFacts, ...]:
    """The proposals of a nonconformance in their order, each with its answers; two statements."""
    return _proposals(session, {key: (code, panel)})[key]


def _proposals(
    session: Session, named: Mapping[int, tuple[str, str]]
) -> dict[int, tuple[ProposalFacts, ...]]:
    """Proposals by their nonconformance's id; ``named`` gives its code and its panel's."""
    rows = session.scalars(
        select(DispositionProposal)
        .where(DispositionProposal.nonconformance_id.in_(list(named)))
        .order_by(DispositionProposal.number)
    ).all()
    answered = _answers(session, [row.id for row in rows])
    found: dict[int, tuple[ProposalFacts, ...]] = dict.fromkeys(named, ())
    for row in rows:
        code, panel = named[row.nonconformance_id]
        bare = _proposal(row)
        content = proposal_content(nonconformance=code, panel=panel, proposal=bare)
        answers = tuple(_answer(one, content) for one in answered.get(row.id, ()))
        whole = replace(bare, answers=answers)
        found[row.nonconformance_id] = (*found[row.nonconformance_id], whole)
    return found


def _proposal(row: DispositionProposal) -> ProposalFacts:
    return ProposalFacts(
        id=row.id,
        number=row.number,
        disposition=row.disposition,
        reason=row.reason,
        instructions=row.instructions,
        evidence_sha256=row.evidence_sha256,
        proposed_by_id=row.proposed_by_id,
        proposed_at=row.proposed_at,
        answers=(),
    )


def _answers(session: Session, proposal_ids: Collection[int]) -> Mapping[int, Sequence[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    if not proposal_ids:
        return found
    rows = session.execute(
        select(ProposalAnswer, Signature, Authorisation.grounds)
        .join(Signature, Signature.id == ProposalAnswer.signature_id)
        .outerjoin(Authorisation, Authorisation.id == ProposalAnswer.authorisation_id)
        .where(ProposalAnswer.proposal_id.in_(proposal_ids))
        .order_by(ProposalAnswer.id)
    )
    for row in rows:
        found[row.ProposalAnswer.proposal_id].append(row)
    return found


def _answer(row: Any, proposed: Mapping[str, Any]) -> AnswerFacts:
    answer, signature = row.ProposalAnswer, row.Signature
    content = answer_content(
        proposed,
        capacity=answer.capacity,
        approves=answer.approves,
        remark=answer.remark,
        document=answer.document,
        document_sha256=answer.document_sha256,
    )
    return AnswerFacts(
        capacity=answer.capacity,
        approves=answer.approves,
        remark=answer.remark,
        document=answer.document,
        document_sha256=answer.document_sha256,
        answered_by_id=answer.answered_by_id,
        answered_at=answer.answered_at,
        printed_name=signature.printed_name,
        meaning=signature.meaning.value,
        grounds=row.grounds,
        intact=signature.content_sha256 == paper_sha256(content)
        and signature.person_id == answer.answered_by_id,
    )


def carried_out(session: Session, key: int) -> Decision | None:
    """The decision that carried out a proposal of this nonconformance, or None."""
    return session.scalars(
        select(Decision)
        .join(DispositionProposal, DispositionProposal.id == Decision.proposal_id)
        .where(DispositionProposal.nonconformance_id == key)
        .order_by(Decision.id.desc())
        .limit(1)
    ).first()


def under_which(session: Session, panel_id: int) -> str | None:
    """The nonconformance under which the panel's last departure was disposed of, or None."""
    return session.scalar(
        select(Nonconformance.code)
        .join(DispositionProposal, DispositionProposal.nonconformance_id == Nonconformance.id)
        .join(Decision, Decision.proposal_id == DispositionProposal.id)
        .where(Decision.panel_id == panel_id)
        .order_by(Decision.number.desc())
        .limit(1)
    )


def next_number(session: Session, year: int) -> int:
    """The number of the year's next nonconformance, from 1; read under the write lock."""
    prefix = f"N-{year}-"
    longest = func.length(Nonconformance.code)
    newest = session.scalar(
        select(Nonconformance.code)
        .where(Nonconformance.code.like(f"{prefix}%"))
        .order_by(longest.desc(), Nonconformance.code.desc())
        .limit(1)
    )
    return 1 if newest is None else int(newest.removeprefix(prefix)) + 1
