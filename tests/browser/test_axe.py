"""Every address of the program under axe, with the demonstration farm in the book.

A new address needs a sample here, else the test fails.
"""

from datetime import timedelta
from itertools import chain
from uuid import uuid4

import pytest
from django.urls import get_resolver, reverse
from django.utils import timezone

from nursery.actions.corrections import correct_runs
from nursery.actions.demo import load_demo
from nursery.actions.stamp import Stamp
from nursery.actions.tally_plan import TallyOptions, plan_tallies
from nursery.actions.tally_preview import preview_of
from nursery.forms.mending import WHAT
from nursery.models import (
    Account,
    Check,
    Farm,
    Flat,
    Job,
    LabelStock,
    Leaving,
    Place,
    PrintedCode,
    Run,
    Session,
    Sowing,
    Worker,
)
from nursery.views.record_nouns import NOUNS
from tests.browser import plant_pages
from tests.browser.conftest import TABLET
from tests.browser.looker import Looker
from tests.crowder import tallies_csv
from tests.factories import make_flat

# These take a form and show no page of their own; a test sees that they refuse to be opened.
TAKES_FORMS_ONLY = {
    "logout",
    "account-password",
    "api-marks",
    "label-print",
    "label-roll",
    "label-paper-delete",
    "bench-start",
    "bench-pause",
    "bench-resume",
    "bench-end",
    "bench-reopen",
    "bench-next",
    "bench-blade",
    "bench-blade-undo",
    "flat-hand-over",
    "flat-hand-over-undo",
    "flat-blanks",
    "flat-finish",
    "flat-finish-undo",
    "flat-take-off",
    "sowing-offer",
    "flat-reopen",
    "batch-sample",
    "flat-ask",
    "flat-leave-closed",
    "move-undo",
    "move-scan-drop",
    "record-delete",
    "sowing-stand",
    "change-put-back",
    "cell-settle",
    "flat-grade-undo",
    "flat-sever-undo",
    "flat-twin",
    "check-unvoid",
    "tally-preview",
    "copies-make",
    "tally-store",
    "tally-look-store",
    "job-cancel",
    "job-again",
    "book-export-ask",
    "api-device",
    "device-name",
    "device-withdraw",
    *plant_pages.FORMS_ONLY,
}
FILES = {"label-paper-test", "copies-download", "api-flat", "api-flats"}  # no page to look at
FILES |= {"manifest", "service-worker"}
PLAIN = ["home", "login", "first-account", "who", "account-list", "account-new", "flat-list", "label-queue"]
PLAIN += ["copies", "label-sowings", "label-places", "label-scripts", "label-papers", "label-paper-new"]
PLAIN += ["bench", "records", "record-farm", "takes-how", "tally-import"]
PLAIN += ["move", "move-scan", "places"]
PLAIN += ["job-list", "book-export"]
PLAIN += ["trust", "this-tablet"]
PLAIN += ["device-list", "marks-import"]
PLAIN += ["offline", "check-shell"]


def jobs():
    """Long work at each of its stages, and a large table that was looked at."""
    now = timezone.now()
    made = [
        Job.objects.create(
            kind="export_csv", asked_at=now, state=state, total_count=900, done_count=300, **more
        )
        for state, more in {
            "waiting": {},
            "running": {"started_at": now, "seen_at": now + timedelta(hours=1)},
            "failed": {"ended_at": now, "message": "It broke down."},
            "done": {"ended_at": now, "message": "900 rows in 40 tables."},
        }.items()
    ]
    tables = [tallies_csv(), tallies_csv().replace(b"splice", b"glue", 1)]
    days = {"today": now.date(), "season": "", "replaces": False}
    looks = [
        Job.objects.create(
            kind="tally_look", asked_at=now, ended_at=now, state="done",
            result=preview_of(plan_tallies(table, TallyOptions(**days))),
        )
        for table in tables
    ]  # fmt: skip
    return made, looks


def samples():
    """The addresses looked at, by URL name."""
    in_hand = Run.objects.open().get().flat
    marked = Check.objects.filter(marks__isnull=False).first()
    unused, sowing = PrintedCode.objects.filter(used_at=None).first(), Sowing.objects.first()
    by_code = [in_hand.code, marked.flat.code, sowing.code, Place.objects.first().code, unused.code]
    sessions = [Session.objects.open().get(), Session.objects.filter(ended_at__isnull=False).first()]
    works, looks = jobs()
    records = [(noun, kind.rows().first()) for noun, kind in NOUNS.items()]
    sold = Leaving.objects.filter(reason="sold").first()
    paper = LabelStock.objects.create(name="Own", paper="A4", label_width_mm=70, label_height_mm=37)
    return {
        **{name: [reverse(name)] for name in PLAIN},
        **plant_pages.plant_pages(),
        "account-edit": [reverse("account-edit", args=["grower"])],
        "code-find": [reverse("code-find"), reverse("code-find") + "?code=F3K7"],
        "code": [reverse("code", args=[code]) for code in by_code]
        + [flat.get_absolute_url() for flat in Flat.objects.exclude(note="")],
        "label-paper": [reverse("label-paper", args=[paper.key])],
        "code-slip": [reverse("code-slip", args=["F3K7QN3"])],
        "code-label": [reverse("code-label", args=[one.code]) for one in (in_hand, sowing)],
        "bench-session": [reverse("bench-session", args=[one.key]) for one in sessions],
        "bench-put-on": [reverse("bench-put-on", args=[sessions[0].key])],
        "flat-bench": [reverse("flat-bench", args=[in_hand.code]) + query for query in ("", "?blanks")],
        "flat-run": [reverse("flat-run", args=[in_hand.code, 1])],
        "flat-numbers": [reverse("flat-numbers", args=[marked.flat.code])],
        "flat-check": [reverse("flat-check", args=[marked.flat.code])],
        "round": [reverse("round") + query for query in ("", "?stage=growing_on", "?stage=bench")],
        "check-detail": [reverse("check-detail", args=[marked.flat.code, marked.uuid])],
        "record-list": [reverse("record-list", args=[noun]) for noun in NOUNS],
        "record-new": [reverse("record-new", args=[noun]) for noun in NOUNS],
        "record-edit": [
            reverse("record-edit", args=[noun, NOUNS[noun].key_of(row)]) for noun, row in records if row
        ],
        "flat-grade": [reverse("flat-grade", args=[marked.flat.code])],
        "flat-sever": [reverse("flat-sever", args=[run.flat.code]) for run in tongues()],
        "leave-grade": [reverse("leave-grade", args=[sold.flat.code, sold.uuid])],
        "flat-lookup": [reverse("flat-lookup"), reverse("flat-lookup") + "?empty=A1+B3"],
        "flat-two-labels": [reverse("flat-two-labels", args=[marked.flat.code])],
        "disagreement-list": [reverse("disagreement-list")],
        "check-give": give_addresses(marked),
        "check-void": [reverse("check-void", args=[marked.flat.code, marked.uuid])],
        "put-right": [reverse("put-right"), reverse("put-right") + f"?flat={marked.flat.code}"],
        "put-right-runs": [reverse("put-right-runs") + put_right_query(marked.flat)],
        "change-list": [reverse("change-list"), reverse("change-list") + f"?flat={marked.flat.code}"],
        "change-detail": [reverse("change-detail", args=[corrected(marked.flat).uuid])],
        "job-detail": [reverse("job-detail", args=[one.key]) for one in works],
        "job-file": [],
        "tally-look": [reverse("tally-look", args=[one.key]) for one in looks],
        "takes": [reverse("takes") + query for query in ("", "?by=grafter", *take_queries())],
    }


def take_queries():
    """Cuts with grades under filters, what is not recorded, and a value that the book does not know."""
    kept = f"&pairing={Run.objects.filter(grade_counts__isnull=False).first().pairing.key}"
    several = f"?by=scion_lot{kept}&method=splice&first_day=2020-01-01&last_day=2099-12-31&heads=on"
    return [several, "?by=place&heads=on", "?by=session", "?by=roots&grafter=none", "?method=glue"]


def tongues():
    """A run that was severed, and one that waits for it."""
    runs = Run.objects.filter(method="tongue", flat__origin="marks").select_related("flat")
    severed = runs.filter(severings__isnull=False).first()
    return [run for run in (severed, runs.filter(severings__isnull=True).first()) if run]


def give_addresses(check):
    """The question for the right flat, its answer with both flats drawn, and a refusal."""
    address = reverse("check-give", args=[check.flat.code, check.uuid])
    others = Flat.objects.filter(tray_format=check.flat.tray_format, cells__isnull=False)
    other = others.exclude(pk=check.flat_id).first()
    return [address, f"{address}?code={other.code}", f"{address}?code=F3K7"]


def put_right_query(flat):
    """All that can be put right of a flat."""
    runs = [f"run={run.key}" for run in flat.runs.all()]
    return "?" + "&".join([*runs, *(f"what={name}" for name in WHAT)])


def corrected(flat):
    """A correction of all runs of a flat."""
    stamp = Stamp.now(Account.objects.get(username="grower"))
    changes = {"clip": "blue", "worker": Worker.objects.first()}
    return correct_runs(flat.runs.all(), changes=changes, reason="for the test", stamp=stamp)[0]


@pytest.fixture
def farm(transactional_db):
    """The demonstration farm, in place of the test farm."""
    load_demo(timezone.now())
    return Farm.objects.get()


def test_what_takes_forms_only_is_no_page(client, alice):
    client.force_login(alice)
    some = {
        "number": 1,
        "uuid": uuid4(),
        "key": uuid4(),
        "pairing": uuid4(),
        "act": uuid4(),
        "event": uuid4(),
        "noun": "crops",
        "code": make_flat().code,
        "username": "alice",
        "cell": "1",
    }
    patterns = {pattern.name: pattern.pattern for pattern in get_resolver().url_patterns}
    for name in TAKES_FORMS_ONLY:
        given = {word: some[word] for word in patterns[name].converters}
        assert client.get(reverse(name, kwargs=given)).status_code == 405


def test_axe_finds_nothing_at_any_address(open_page):
    addresses = samples()
    names = {pattern.name for pattern in get_resolver().url_patterns}
    assert names == addresses.keys() | TAKES_FORMS_ONLY | FILES
    looker = Looker(open_page(TABLET, Account.objects.get(username="grower")))
    for address in chain.from_iterable(addresses.values()):
        looker.open(address)
    assert not looker.faults, "\n".join(map(str, looker.faults))
