"""A farm with a server that can be killed, and tablets on it."""

import pytest

from tests.browser.faults.farm import Farm, Forker
from tests.browser.faults.tablet import SIZE, OwnBrowser, Tablet


@pytest.fixture(scope="session")
def forker():
    forker = Forker()
    yield forker
    forker.end()


@pytest.fixture
def farm(forker, tmp_path):
    """Three flats of 72, grafted a week ago; the server runs."""
    farm = Farm(forker, tmp_path, flats=3).start()
    yield farm
    farm.kill()


@pytest.fixture
def new_tablet(chromium, farm):
    """``new_tablet("bob")``: a tablet on which Bob is logged in."""
    contexts = []

    def made(username=None, **options):
        options = {"viewport": SIZE, "has_touch": True, "is_mobile": True, **options}
        contexts.append(chromium.new_context(**options))
        tablet = Tablet(contexts[-1], farm)
        return tablet.log_in(username) if username else tablet

    yield made
    for context in contexts:
        context.close()


@pytest.fixture
def tablet(new_tablet):
    return new_tablet("bob")


@pytest.fixture
def own_browser(chromium, tmp_path_factory):
    browser = OwnBrowser(chromium, tmp_path_factory.mktemp("profile"))
    yield browser
    browser.end()


@pytest.fixture
def came_once(farm):
    """``came_once(*marks)``: each is in the book once, and no other; and the counts agree with them."""

    def came(*marks):
        assert sorted(mark["uuid"] for mark in farm.look("marks")) == sorted(mark["uuid"] for mark in marks)
        assert farm.look("proof") == []

    return came


@pytest.fixture
def killable(farm, own_browser):
    """Bob's tablet, whose browser can be killed."""
    return Tablet(own_browser.start(), farm).log_in("bob")
