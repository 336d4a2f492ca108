"""How much of what a camera may see is read: a label of ours, tilted, far off, blurred, dim, under glare.

The pictures are made, not taken: they tell whether the reader got worse, not how a certain tablet does.
"""

import base64
import random

import pytest
from PIL import Image, ImageDraw, ImageEnhance, ImageFilter

from tests.browser.camera import label_picture, png, seen
from tests.browser.conftest import TABLET

EACH = 20
# By the program's own way from a picture to its texts; and the milliseconds of the reading.
READ = """async (pictures) => {
  const { dots } = await import("/static/js/camera/canvas.js");
  const { zxing } = await import("/static/js/camera/zxing.js");
  const read = await zxing(document.getElementById("scan-dialog").dataset.wasm);
  const answers = [];
  for (const picture of pictures) {
    const bytes = Uint8Array.from(atob(picture), (sign) => sign.charCodeAt(0));
    const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/png" }));
    const { width, height } = bitmap;
    const seen = dots(bitmap, { width, height, longest: 1280 });
    const began = performance.now();
    const found = await read(seen);
    answers.push([found.map((one) => one.text), performance.now() - began]);
  }
  return answers;
}"""


def corners(rng, most):
    return [(rng.uniform(-most, most), rng.uniform(-most, most)) for _ in range(4)]


def plain(label, rng):
    return seen(label, share=rng.uniform(0.6, 0.9), turn=rng.uniform(-10, 10))


def tilted(label, rng):
    return seen(label, share=0.8, corners=corners(rng, 0.22), turn=rng.uniform(-180, 180))


def small(label, rng):
    return seen(label, share=rng.uniform(0.28, 0.36), turn=rng.uniform(-30, 30))


def blurred(label, rng):
    return seen(label, share=0.8, turn=rng.uniform(-10, 10), blur=rng.uniform(1.5, 2.5))


def dim(label, rng):
    picture = seen(label, share=0.7, turn=rng.uniform(-10, 10))
    return ImageEnhance.Brightness(ImageEnhance.Contrast(picture).enhance(0.3)).enhance(0.5)


def glare(label, rng):
    picture = seen(label, share=0.8, turn=rng.uniform(-10, 10))
    shine = Image.new("L", picture.size, 0)
    x, y = rng.uniform(0.55, 0.8) * picture.width, rng.uniform(0.35, 0.6) * picture.height
    ImageDraw.Draw(shine).ellipse((x - 45, y - 14, x + 45, y + 14), fill=255)
    white = Image.new("L", picture.size, 255)
    return Image.composite(white, picture, shine.filter(ImageFilter.GaussianBlur(12)))


# Kind of picture, and of how many of 20 at least a label must be read: seen less a margin of two.
KINDS = {plain: 18, tilted: 15, small: 18, blurred: 15, dim: 18, glare: 18}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_labels_are_read_as_cameras_see_them(open_page, flat72, bob, kind):
    rng = random.Random(20261125)
    label = label_picture(flat72.code)
    pictures = [kind(label, rng) for _ in range(EACH)]
    page = open_page(TABLET, bob)
    page.goto("/")
    answers = page.evaluate(READ, [base64.b64encode(png(picture)).decode() for picture in pictures])
    address = f"HTTP://192.0.2.7:8000/{flat72.code}"
    assert {text for texts, _ms in answers for text in texts} <= {address}  # never another code
    read = sum(1 for texts, _ms in answers if texts)
    middle = sorted(ms for _texts, ms in answers)[EACH // 2]
    print(f"\n{kind.__name__}: {read} of {EACH} read, {middle:.0f} ms a picture")
    assert read >= KINDS[kind]
