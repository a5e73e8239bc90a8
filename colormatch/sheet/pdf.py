"""The printed sheet for many swatches, as a page at true size.

One bit per pixel at 600 dots per inch: markers and outlines are as sharp as a printer can print them, in black only,
and Pillow is the only drawing library needed.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from colormatch.sheet.layout import BARE, Plan, Rect

if TYPE_CHECKING:
    from PIL import Image, ImageDraw

#: Dots per inch, the resolution of office printers.
DPI = 600
_MM_PER_INCH = 25.4
#: Heights of letters and width of lines, mm.
_TITLE, _LABEL, _SMALL, _LINE = 4.2, 3.4, 2.8, 0.25
#: Length of the printed line for checking the printer's scale, mm.
SCALE = 50.0


def sheet_pdf(plan: Plan) -> bytes:
    """Make a PDF of one page, exactly the paper's size.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    bytes
        A PDF file.
    """
    page = sheet_picture(plan)
    width, height = plan.size
    # Whole pixels don't fill the paper to the last micrometer; the stated resolution compensates.
    resolution = (page.width / width * _MM_PER_INCH, page.height / height * _MM_PER_INCH)
    file = io.BytesIO()
    page.save(file, "PDF", dpi=resolution, title="Swatch sheet", producer="colormatch")
    return file.getvalue()


def sheet_picture(plan: Plan, dpi: float = DPI) -> Image.Image:
    """Draw the page with one bit per pixel.

    Parameters
    ----------
    plan : Plan
    dpi : float; dots per inch
    """
    from PIL import Image, ImageDraw

    scale = dpi / _MM_PER_INCH
    width, height = plan.size
    page = Image.new("1", (round(width * scale), round(height * scale)), 1)
    pen = _Pen(ImageDraw.Draw(page), scale)
    for number, place in plan.markers.items():
        _marker(page, number, place, scale)
    for cell in plan.cells:
        pen.outline(cell.rect)
    pen.outline(plan.card_place)
    _column_labels(pen, plan)
    _row_labels(pen, plan)
    _words(pen, plan)
    return page


class _Pen:
    """Draws in millimeters."""

    def __init__(self, draw: ImageDraw.ImageDraw, scale: float) -> None:
        self.draw = draw
        self.scale = scale

    def outline(self, rect: Rect) -> None:
        box = [round(v * self.scale) for v in rect]
        self.draw.rectangle(box, outline=0, width=max(1, round(_LINE * self.scale)))

    def line(self, x0: float, y0: float, x1: float, y1: float) -> None:
        ends = [round(v * self.scale) for v in (x0, y0, x1, y1)]
        self.draw.line(ends, fill=0, width=max(1, round(_LINE * self.scale)))

    def text(self, x: float, y: float, text: str, height: float, widest: float, anchor: str = "lm") -> None:
        """Draw a line of text, smaller if it would exceed its space."""
        from PIL import ImageFont

        size = height * self.scale
        width = self.draw.textlength(text, font=ImageFont.load_default(size))
        font = ImageFont.load_default(size * min(1.0, widest * self.scale / max(width, 1.0)))
        self.draw.text((x * self.scale, y * self.scale), text, fill=0, font=font, anchor=anchor)


def _marker(page: Image.Image, number: int, place: Rect, scale: float) -> None:
    import cv2
    from PIL import Image

    from colormatch.sheet.cells import marker_dictionary

    left, top, right, bottom = (round(v * scale) for v in place)
    modules = cv2.aruco.generateImageMarker(marker_dictionary(), number, 7)
    page.paste(Image.fromarray(modules).resize((right - left, bottom - top), Image.Resampling.NEAREST), (left, top))


def _column_labels(pen: _Pen, plan: Plan) -> None:
    for cell in plan.cells[: len(plan.columns) + 1]:
        x, _ = cell.rect.center
        wide = cell.rect.right - cell.rect.left
        text = "leave bare" if cell.column == BARE else cell.column
        pen.text(x, plan.window.top - 3, text, _LABEL, wide, "mm")
        pen.line(cell.rect.left, plan.window.top, cell.rect.right, plan.window.top)


def _row_labels(pen: _Pen, plan: Plan) -> None:
    left, right = 25.0, plan.window.left - 1
    for cell in plan.cells[:: len(plan.columns) + 1]:
        _, y = cell.rect.center
        pen.text(left, y - 2.5, cell.row, _LABEL, right - left)
        pen.line(left, y + 3.5, right, y + 3.5)


def _words(pen: _Pen, plan: Plan) -> None:
    left, right = 25.0, plan.card_place.left - 4
    top = plan.card_place.top
    pen.text(left, 27, "Swatch sheet", _TITLE, 50)
    pen.text(plan.window.right, 27, "date and ground: ______________________________", _SMALL, 90, "rm")
    lines = (
        "Print at 100 %. This line is 50 mm:",
        "",
        "Fill each cell to its outline, let it dry,",
        "lay the gray card in its place, photograph",
        "the whole sheet flat, in even light.",
        "For wood: cut the cells out as one window",
        "and lay the frame on the board.",
    )
    for number, line in enumerate(lines):
        pen.text(left, top + 2 + 4 * number, line, _SMALL, right - left)
    y = top + 6
    pen.line(left, y, left + SCALE, y)
    # A ruler is laid to the outer edges of the strokes.
    for x in (left + _LINE / 2, left + SCALE - _LINE / 2):
        pen.line(x, y - 1, x, y + 1)
    x, y = plan.card_place.center
    pen.text(x, y, "gray card here", _LABEL, 70, "mm")
