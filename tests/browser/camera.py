"""Pictures as a camera sees them, made of our own printed labels; films for Chromium's fake camera."""

import io
from pathlib import Path

import pypdfium2
from PIL import Image, ImageDraw, ImageFilter
from qrcode import QRCode

from nursery.actions.label_words import labels_of_codes
from nursery.labels import STOCKS, Label, positions, render_labels

STOCK, DPI = STOCKS["a4-70x37"], 300
FRAME = (640, 480)
BENCH, PAPER = 96, 255  # shades of grey
FAKE_CAMERA = "--use-fake-device-for-media-stream"
ALLOWED = "--use-fake-ui-for-media-stream"


def label_picture(code: str) -> Image.Image:
    """The label of what bears that code, cut out of the sheet that the program prints."""
    (label,) = labels_of_codes([code])
    return printed(label)


def printed(label: Label) -> Image.Image:
    (page,) = pypdfium2.PdfDocument(render_labels([label], STOCK))
    sheet = page.render(scale=DPI / 72, grayscale=True).to_pil()
    (_page, rect) = next(positions(STOCK, 1))
    dots = DPI / 25.4
    return sheet.crop(tuple(round(v * dots) for v in (rect.x_mm, rect.y_mm, rect.right_mm, rect.bottom_mm)))


def foreign_picture(text: str) -> Image.Image:
    """A QR symbol of somebody else."""
    symbol = QRCode(border=4, box_size=8)
    symbol.add_data(text)
    symbol.make()
    return symbol.make_image().get_image().convert("L")


def seen(label: Image.Image, *, size=FRAME, share=0.8, corners=None, turn=0.0, blur=0.0) -> Image.Image:
    """A label lying on the bench, as wide as ``share`` of the picture.

    ``corners`` moves the label's corners inwards or outwards by shares of its own width and height, clockwise
    from the upper left: how it looks when the tablet is held at an angle. ``blur`` is a radius in dots.
    """
    wide = round(size[0] * share)
    label = label.resize((wide, round(label.height * wide / label.width)), Image.Resampling.LANCZOS)
    left, top = (size[0] - label.width) / 2, (size[1] - label.height) / 2
    square = [(0, 0), (1, 0), (1, 1), (0, 1)]
    moved = [
        (left + (x + dx) * label.width, top + (y + dy) * label.height)
        for (x, y), (dx, dy) in zip(square, corners or [(0, 0)] * 4, strict=True)
    ]
    bench = Image.new("L", size, BENCH)
    lying = label.transform(
        size,
        Image.Transform.PERSPECTIVE,
        _perspective(moved, [(x * label.width, y * label.height) for x, y in square]),
        Image.Resampling.BICUBIC,
    )
    shape = Image.new("L", size, 0)
    ImageDraw.Draw(shape).polygon(moved, fill=PAPER)
    bench.paste(lying, (0, 0), shape)
    bench = bench.rotate(turn, Image.Resampling.BICUBIC, fillcolor=BENCH)
    return bench.filter(ImageFilter.GaussianBlur(blur)) if blur else bench


def _perspective(here, there):
    """The eight numbers by which Pillow finds the dot of ``there`` for each of ``here``."""
    import numpy as np

    rows = []
    for (x, y), (u, v) in zip(here, there, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    return tuple(np.linalg.solve(np.array(rows), np.array(there).reshape(8)))


def png(picture: Image.Image) -> bytes:
    file = io.BytesIO()
    picture.save(file, "PNG")
    return file.getvalue()


def write_film(path: Path, frames: list[Image.Image]) -> Path:
    """Write a film for the fake camera: YUV4MPEG2, grey, ten pictures a second, shown over and over."""
    width, height = frames[0].size
    with path.open("wb") as file:
        file.write(b"YUV4MPEG2 W%d H%d F10:1 Ip A1:1 C420jpeg\n" % (width, height))
        for frame in frames:
            file.write(b"FRAME\n" + frame.tobytes() + bytes([128]) * (width * height // 2))
    return path


def film_args(path: Path) -> list[str]:
    return [FAKE_CAMERA, f"--use-file-for-fake-video-capture={path}"]
