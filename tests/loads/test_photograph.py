"""What a photograph is, by its bytes alone."""

import io

import pytest
from PIL import Image

from app.errors import BadFile
from app.loads.bags.photograph import look_at, small
from tests.loads.pictures import picture


@pytest.mark.parametrize(
    ("kind", "media_type"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")]
)
def test_the_three_formats_are_known_by_their_content(kind: str, media_type: str) -> None:
    seen = look_at(picture(kind), file_name="anything.txt")
    assert (seen.media_type, seen.width_px, seen.height_px) == (media_type, 640, 360)


def test_a_picture_held_upright_is_as_high_as_a_person_sees_it() -> None:
    content = picture(orientation=6)
    seen = look_at(content, file_name="a.jpg")
    assert (seen.width_px, seen.height_px) == (360, 640)
    with Image.open(io.BytesIO(small(content))) as upright:
        assert upright.size == (270, 480)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "no JPEG, PNG or WebP"),
        (b"%PDF-1.7 not a picture", "no JPEG, PNG or WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "no JPEG, PNG or WebP"),
        (picture("GIF"), "no JPEG, PNG or WebP"),
        (picture()[:2000], "damaged or cut short"),
        (picture("PNG")[:900], "damaged or cut short"),
        (picture("WEBP")[:200], "damaged or cut short"),
    ],
)
def test_what_is_no_whole_picture_is_refused(content: bytes, said: str) -> None:
    with pytest.raises(BadFile, match=said):
        look_at(content, file_name="find.jpg")


def test_a_small_file_that_would_fill_the_memory_is_refused() -> None:
    for side in (11_000, 20_000):  # past our own limit, and past Pillow's
        written = io.BytesIO()
        Image.new("1", (side, side)).save(written, "PNG")
        with pytest.raises(BadFile, match="more than 120 million points"):
            look_at(written.getvalue(), file_name="bomb.png")


def test_what_shows_through_becomes_paper_in_the_small_picture() -> None:
    written = io.BytesIO()
    Image.new("RGBA", (900, 600), (0, 0, 0, 0)).save(written, "PNG")
    with Image.open(io.BytesIO(small(written.getvalue()))) as made:
        assert made.size == (480, 320)
        assert made.getpixel((10, 10)) == (255, 255, 255)
