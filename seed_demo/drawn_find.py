"""Drawn pictures, of something found on a panel and of a report's sheet: they show nothing real."""

import io

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

_SIZE = (1280, 860)


def scorch_picture(panel: str) -> bytes:
    """A brownish patch on brushed metal beside a strip of tape, as JPEG; the same every time."""
    rng = np.random.default_rng([860, *panel.encode()])
    rows = 172 + rng.normal(0, 7, (_SIZE[1], 1))
    grain = np.clip(rows + rng.normal(0, 3, (_SIZE[1], _SIZE[0])), 0, 255)
    metal = Image.fromarray(grain.astype(np.uint8)).convert("RGB")
    patch = Image.new("L", _SIZE, 0)
    drawn = ImageDraw.Draw(patch)
    for _ in range(60):
        x, y = 640 + rng.normal(0, 150), 380 + rng.normal(0, 45)
        drawn.ellipse((x - 70, y - 40, x + 70, y + 40), fill=int(rng.integers(90, 170)))
    metal.paste((104, 66, 34), mask=patch.filter(ImageFilter.GaussianBlur(18)))
    pen = ImageDraw.Draw(metal)
    pen.rectangle((0, 640, _SIZE[0], 740), fill=(196, 178, 92))
    for mark in range(40, _SIZE[0], 48):
        pen.line((mark, 800, mark, 830 if mark % 240 else 812), fill="black", width=3)
    pen.text((40, 766), f"{panel}  drawn for the demonstration", fill="black", font_size=26)
    written = io.BytesIO()
    metal.save(written, "JPEG", quality=85)
    return written.getvalue()


def scanned_sheet(number: str, line: str, *, title: str = "System accuracy test") -> bytes:
    """A report's sheet as if scanned, as PNG; the same every time."""
    sheet = Image.new("L", (620, 877), 250)
    pen = ImageDraw.Draw(sheet)
    for row, words in enumerate((title, number, line, "drawn for the demo")):
        pen.text((60, 80 + 60 * row), words, fill=20, font_size=30)
    pen.rectangle((40, 50, 580, 340), outline=60, width=3)
    written = io.BytesIO()
    sheet.save(written, "PNG")
    return written.getvalue()
