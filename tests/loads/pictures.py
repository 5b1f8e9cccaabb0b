"""Drawn pictures for tests of photographs: nothing real is on them."""

import io

from PIL import Image, ImageDraw


def picture(
    kind: str = "JPEG",
    *,
    size: tuple[int, int] = (640, 360),
    colour: str = "slategrey",
    orientation: int | None = None,
) -> bytes:
    """A drawn patch with a line across it, in a format; ``orientation`` goes into its EXIF."""
    drawn = Image.new("RGB", size, colour)
    ImageDraw.Draw(drawn).line((0, 0, *size), fill="white", width=6)
    written = io.BytesIO()
    exif = Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    drawn.save(written, kind, exif=exif)
    return written.getvalue()
