"""What the page on which a panel is divided or marked anew sends."""

from pydantic import Field

from app.release.rules.dividing import Piece, pieces_from_lines
from app.web.entries import TypedCode
from app.web.forms import FormModel


class DivideForm(FormModel):
    """The pieces, one a line, signed."""

    pieces: str = Field(max_length=10_000)
    drawing: str = Field(max_length=80)
    reason: str = Field(max_length=1000)
    password: str = Field(title="your password", max_length=1000)

    def cut(self) -> list[Piece]:
        """The pieces as typed."""
        return pieces_from_lines(self.pieces)


class MarkAnewForm(FormModel):
    """The new identity of a whole panel, signed."""

    code: TypedCode = Field(title="new identity")
    reason: str = Field(max_length=1000)
    password: str = Field(title="your password", max_length=1000)
