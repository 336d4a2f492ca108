"""The page of the tablets and the import of waiting marks, by touch, on a tablet and a phone, under axe."""

import json

import pytest
from django.utils import timezone

from nursery.actions.devices import issue_token
from nursery.models import Device, DeviceToken, Mark
from tests.browser.conftest import PHONE, TABLET
from tests.browser.looker import Looker
from tests.commands.test_import_marks import check_part, content, mark_part
from tests.factories import make_flat, make_run

SIZES = pytest.mark.parametrize("size", [TABLET, PHONE], ids=["tablet", "phone"])


@pytest.fixture
def device(farm, bob):
    now = timezone.now()
    device = Device.objects.create(name="Bay tablet", first_seen_at=now, last_seen_at=now, skew_ms=5000)
    Device.objects.create(first_seen_at=now, last_seen_at=now, skew_ms=-400_000)
    issue_token(bob, device=device.uuid, now=now)
    return device


@SIZES
def test_a_tablet_is_renamed_and_its_token_withdrawn(open_page, alice, device, size):
    looker = Looker(open_page(size, alice))
    looker.open("/tablets")
    page = looker.page
    row = page.locator("tr", has_text="Bay tablet")
    row.get_by_role("textbox").fill("Green one")
    row.get_by_role("button", name="Rename").tap()
    row = page.locator("tr", has_text="Green one")
    row.get_by_role("button", name="Withdraw").tap()
    page.get_by_text("before logging in there again").wait_for()
    device.refresh_from_db()
    assert device.name == "Green one" and DeviceToken.objects.get().withdrawn_at
    assert not looker.faults, looker.faults


@SIZES
def test_a_file_of_waiting_marks_is_brought_in(open_page, alice, bob, size, tmp_path):
    flat = make_flat()
    make_run(flat)
    check = check_part(flat)
    file = tmp_path / "waiting.json"
    file.write_text(content([check, mark_part(check, 3), mark_part(check, 400)]))
    looker = Looker(open_page(size, alice))
    looker.open("/marks/import")
    page = looker.page
    page.get_by_label("File of waiting marks").set_input_files(file)
    page.get_by_role("button", name="Bring in").tap()
    page.get_by_text("2 parts taken in, 0 known already, 1 refused.").wait_for()
    assert Mark.objects.get().cell.place_no == 3
    looker.look()
    file.write_text(json.dumps([]))
    page.get_by_label("File of waiting marks").set_input_files(file)
    page.get_by_role("button", name="Bring in").tap()
    page.get_by_text("Nothing was stored.").wait_for()
    looker.look()
    assert not looker.faults, looker.faults
