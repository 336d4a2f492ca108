from uuid import uuid4

from django.urls import reverse
from django.utils import timezone

from nursery.actions.devices import account_of_token, issue_token


def test_ends_the_login(crew):
    answer = crew.post(reverse("logout"))
    assert answer.url == reverse("login")
    assert crew.get("/").status_code == 302


def test_a_link_does_not_log_out(crew):
    assert crew.get(reverse("logout")).status_code == 405
    assert crew.get("/").status_code == 200


def test_a_shared_tablet_may_log_out_before_it_says_who(idle_tablet):
    assert idle_tablet.post(reverse("logout")).url == reverse("login")


def test_the_token_of_the_device_goes_with_the_login_and_no_other(crew, bob, alice):
    device, other = uuid4(), uuid4()
    ours, elsewhere, hers = (
        issue_token(account, device=one, now=timezone.now())
        for account, one in ((bob, device), (bob, other), (alice, device))
    )
    crew.post(reverse("logout"), {"device": str(device)})
    assert account_of_token(ours) is None
    assert (account_of_token(elsewhere), account_of_token(hers)) == (bob, alice)


def test_a_device_that_is_none_is_no_error(crew):
    assert crew.post(reverse("logout"), {"device": "a tablet"}).status_code == 302
