"""What unwrapping found on each panel of a load, with its photographs, laid out for pages."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnElement, and_, select
from sqlalchemy.orm import Session

from app.loads.planning.plan_views import PanelDrawing, Spot
from app.loads.records import LoadPanel, Photograph, SurfaceFinding, Unwrapping
from app.loads.service.unwrapping import Found
from app.panels.records import Panel


@dataclass(frozen=True, slots=True)
class Shot:
    """A photograph as pages show it: its key, caption, file, and size in points."""

    id: int
    caption: str
    file_name: str
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class Find:
    """One thing the surface search found: where, in words, and its photographs."""

    id: int
    number: int
    kind: str
    words: str
    x: Decimal
    y: Decimal
    shots: tuple[Shot, ...]


@dataclass(frozen=True, slots=True)
class PanelSurface:
    """What a panel's last unwrapping in a load found."""

    code: str
    length_mm: Decimal
    width_mm: Decimal
    is_unwrapped: bool
    finds: tuple[Find, ...]
    shots: tuple[Shot, ...]
    """Photographs of the panel as such, and of finds of an unwrapping that was corrected since."""

    @property
    def drawing(self) -> PanelDrawing:
        """The panel from above with what was found on it."""
        spots = tuple(Spot("find", one.number, str(one.number), one.x, one.y) for one in self.finds)
        return PanelDrawing(1, self.code, self.length_mm, self.width_mm, spots)

    @property
    def is_bare(self) -> bool:
        """Whether there is nothing to draw or to show."""
        return not (self.finds or self.shots)


def surface_of(session: Session, load_id: int) -> dict[str, PanelSurface]:
    """Each panel's surface in a load by identity, in the order planned; one query."""
    found = _surfaces(session, LoadPanel.load_id == load_id)
    return {surface.code: surface for surface in found.values()}


def surface_in_loads(
    session: Session, panel_id: int, load_ids: Sequence[int]
) -> dict[int, PanelSurface]:
    """A panel's surface after each of its loads, by load; one query however many loads."""
    if not load_ids:
        return {}
    found = _surfaces(session, LoadPanel.panel_id == panel_id, LoadPanel.load_id.in_(load_ids))
    return {load_id: surface for (load_id, _), surface in found.items()}


@dataclass
class _Gathered:
    """What is on record of a panel in a load, by key; the same row may come many times."""

    panel: Panel
    unwrappings: dict[int, Unwrapping] = field(default_factory=dict)
    finds: dict[int, SurfaceFinding] = field(default_factory=dict)
    shots: dict[int, Photograph] = field(default_factory=dict)


def _surfaces(session: Session, *which: ColumnElement[bool]) -> dict[tuple[int, int], PanelSurface]:
    """By load and panel. One query: a page of a panel shows few finds and photographs."""
    seat = (LoadPanel.load_id, LoadPanel.panel_id)

    def of_seat(table: Any) -> Any:
        return and_(table.load_id == seat[0], table.panel_id == seat[1])

    rows: Any = session.execute(
        select(LoadPanel.load_id, Panel, Unwrapping, SurfaceFinding, Photograph)
        .join(Panel, Panel.id == LoadPanel.panel_id)
        .outerjoin(Unwrapping, of_seat(Unwrapping))
        .outerjoin(SurfaceFinding, SurfaceFinding.unwrapping_id == Unwrapping.id)
        .outerjoin(Photograph, of_seat(Photograph))
        .where(*which)
        .order_by(LoadPanel.id, Unwrapping.id, SurfaceFinding.id, Photograph.id)
    )
    gathered: dict[tuple[int, int], _Gathered] = {}
    for load_id, panel, unwrapping, find, shot in rows:
        kept = gathered.setdefault((load_id, panel.id), _Gathered(panel))
        for row, kind in ((unwrapping, kept.unwrappings), (find, kept.finds), (shot, kept.shots)):
            if row is not None:
                kind[row.id] = row
    return {key: _panel(kept) for key, kept in gathered.items()}


def _panel(kept: _Gathered) -> PanelSurface:
    """As the last unwrapping left it."""
    panel = kept.panel
    last = max(kept.unwrappings, default=None)
    rows = [row for row in kept.finds.values() if row.unwrapping_id == last]
    shots = list(kept.shots.values())
    size = {"length_mm": panel.length_mm, "width_mm": panel.width_mm}
    finds = tuple(
        Find(
            row.id,
            number,
            row.kind,
            Found(kind=row.kind, x=row.x, y=row.y, size_mm=row.size_mm, words=row.words).in_words(
                **size
            ),
            row.x,
            row.y,
            tuple(_shot(shot) for shot in shots if shot.surface_finding_id == row.id),
        )
        for number, row in enumerate(rows, start=1)
    )
    own = {row.id for row in rows}
    loose = tuple(_shot(shot) for shot in shots if shot.surface_finding_id not in own)
    return PanelSurface(panel.code, panel.length_mm, panel.width_mm, last is not None, finds, loose)


def _shot(row: Photograph) -> Shot:
    return Shot(row.id, row.caption, row.file_name, row.width_px, row.height_px)
