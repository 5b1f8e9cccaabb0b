"""How seconds, degrees and rates are written in findings. Pure."""

from collections.abc import Sequence

MINUTE_S = 60


def figure(value: float, places: int = 3) -> str:
    """The value to at most ``places`` decimals, without idle zeros and without minus zero."""
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def seconds(value: float) -> str:
    """A length of time: seconds, with hours and minutes beside them from one minute on."""
    plain = f"{figure(value)} s"
    if value < MINUTE_S:
        return plain
    # Tenths are split as whole numbers, so that no 60th second is ever shown.
    minutes, tenths = divmod(round(value * 10), MINUTE_S * 10)
    return f"{plain} ({minutes // 60} h {minutes % 60:02d} min {figure(tenths / 10, 1)} s)"


def degrees(value: float) -> str:
    """A temperature in degC."""
    return f"{figure(value)} degC"


def listed(names: Sequence[str]) -> str:
    """Names as a person would say them: ``TC1, TC2 and TC3``."""
    if len(names) < 2:  # noqa: PLR2004 - "and" needs two
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
