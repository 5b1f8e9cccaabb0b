"""What the trail's pages are asked by."""

from typing import Annotated

from fastapi import Query

from app.web.forms import FormModel


class TrailQuery(FormModel):
    """What the trail is narrowed to, as typed."""

    by: str = ""
    act: str = ""
    identity: str = ""
    since: str = ""
    until: str = ""
    text: str = ""
    exceptions: str = ""
    before: str = ""

    @property
    def typed(self) -> dict[str, str]:
        """The fields that narrow it, for showing them again."""
        return self.model_dump(exclude={"before"})


AskedTrail = Annotated[TrailQuery, Query()]


class ReviewForm(FormModel):
    """The part of a review that is the same for every stretch; its answers come by their fields."""

    through: int
    remark: str = ""
    password: str = ""
