"""Photographs as they come: what may be kept, and the small picture a page shows. Pure.

The bytes are kept as they came. Only JPEG, PNG and WebP are taken, as the file's own content says,
whatever its name claims.
"""

import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError

from app.errors import BadFile

MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
MOST_PIXELS = 120_000_000
"""More than any camera on a tablet takes; beyond it a small file could fill the memory."""
SMALL_PX = 480
"""Longest side of the small picture."""
_TURNED = frozenset({5, 6, 7, 8})
"""Values of the EXIF orientation that exchange width and height (Exif 2.3, 4.6.4 A)."""
_ORIENTATION = 0x0112


@dataclass(frozen=True, slots=True)
class Seen:
    """What a photograph's bytes are: media type, and size in pixels as a person sees it."""

    media_type: str
    width_px: int
    height_px: int


def look_at(content: bytes, *, file_name: str) -> Seen:
    """What the bytes are, every one of them read.

    Raises:
        BadFile: they are no whole JPEG, PNG or WebP, or the picture is larger than is taken.
    """
    try:
        # Pillow's own warning of a large picture is answered by our refusal.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(content), formats=list(MEDIA_TYPES)) as picture:
                kind = picture.format or ""
                width, height = picture.size
                if width * height > MOST_PIXELS:
                    raise BadFile(_too_large(file_name))
                picture.load()
                turned = picture.getexif().get(_ORIENTATION) in _TURNED
    except UnidentifiedImageError:
        raise BadFile(
            f"{file_name}: it is no JPEG, PNG or WebP picture. Choose the photograph itself."
        ) from None
    except Image.DecompressionBombError:
        raise BadFile(_too_large(file_name)) from None
    except (OSError, SyntaxError, ValueError):
        raise BadFile(
            f"{file_name}: the picture is damaged or cut short. Copy it from the camera again."
        ) from None
    if turned:
        width, height = height, width
    return Seen(MEDIA_TYPES[kind], width, height)


def _too_large(file_name: str) -> str:
    return (
        f"{file_name}: the picture has more than {MOST_PIXELS // 1_000_000} million points. Save "
        "it smaller and choose it again."
    )


def small(content: bytes) -> bytes:
    """The picture at most 480 points long, upright, as JPEG; for a page that shows many."""
    with Image.open(io.BytesIO(content), formats=list(MEDIA_TYPES)) as picture:
        picture.draft("RGB", (2 * SMALL_PX, 2 * SMALL_PX))
        upright = ImageOps.exif_transpose(picture)
        upright.thumbnail((SMALL_PX, SMALL_PX))
        if upright.mode in ("RGBA", "LA", "PA", "P"):
            # What shows through is paper.
            whole = upright.convert("RGBA")
            ground = Image.new("RGBA", whole.size, "white")
            upright = Image.alpha_composite(ground, whole)
        written = io.BytesIO()
        upright.convert("RGB").save(written, "JPEG", quality=82)
    return written.getvalue()
