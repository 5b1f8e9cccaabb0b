"""What the pages on which panels are decided send."""

from app.release.forms.decision import HoldForm, LiftForm, ReleaseForm

__all__ = ["HoldForm", "LiftForm", "ReleaseForm"]
