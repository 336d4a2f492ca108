"""``manage.py labels``."""

import pypdfium2
import pytest
from django.core.management import CommandError, call_command

from nursery.models import LabelPrint, LabelStock
from tests.factories import make_place, make_run

pytestmark = pytest.mark.django_db


def test_writes_a_pdf_with_the_code_in_words(farm, tmp_path):
    code, out = make_run().flat.code, tmp_path / "labels.pdf"
    call_command("labels", code.lower(), "--stock", "letter-4x2in", "--out", str(out))
    text = pypdfium2.PdfDocument(out)[0].get_textpage().get_text_range()
    assert f"{code[:3]}-{code[3:]}" in text


def test_names_a_wrong_code_and_writes_nothing(farm, tmp_path):
    out = tmp_path / "labels.pdf"
    for code in ("FZZZZZZ", "nonsense"):
        with pytest.raises(CommandError):
            call_command("labels", code, "--stock", "a4-70x37", "--out", str(out))
    assert not out.exists()


def test_takes_the_farm_s_own_paper_and_leaves_lines_for_what_does_not_print(farm, tmp_path):
    LabelStock.objects.create(name="Tall 40", paper="roll", label_width_mm=60, label_height_mm=40)
    place, out = make_place("苗圃"), tmp_path / "labels.pdf"
    with pytest.raises(CommandError, match="苗圃"):
        call_command("labels", place.code, "--stock", "Tall 40", "--out", str(out))
    assert not out.exists()
    call_command("labels", place.code, "--stock", "Tall 40", "--with-gaps", "--out", str(out))
    assert out.read_bytes().startswith(b"%PDF")
    assert LabelPrint.objects.get().stock == "Tall 40"


def test_stock_is_a_choice(farm, tmp_path):
    with pytest.raises(CommandError, match="a4-70x37"):
        call_command("labels", "FZZZZZZ", "--stock", "a3", "--out", str(tmp_path / "x.pdf"))
