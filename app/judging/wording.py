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
    """A length of time to the thousandth of a second: ``24 h``, ``4 min 7.059 s``, ``0 s``."""
    # Split as whole thousandths, so that no 60th second is ever shown.
    minutes, thousandths = divmod(round(value * 1000), MINUTE_S * 1000)
    parts = []
    if minutes >= MINUTE_S:
        parts.append(f"{minutes // 60} h")
    if minutes % 60:
        parts.append(f"{minutes % 60} min")
    if thousandths or not parts:
        parts.append(f"{figure(thousandths / 1000)} s")
    return " ".join(parts)


def degrees(value: float) -> str:
    """A temperature in degC."""
    return f"{figure(value)} degC"


def listed(names: Sequence[str]) -> str:
    """Names as a person would say them: ``TC1, TC2 and TC3``."""
    if len(names) < 2:  # noqa: PLR2004 - "and" needs two
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
