"""The logins of the farm, kept by its growers."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from nursery import access
from nursery.actions.accounts import change_account, create_account, kind_of_account, set_password
from nursery.actions.wrong_tries import forget_tries
from nursery.forms.logins import ChangeAccountForm, NewAccountForm, PasswordForm
from nursery.forms.refused import add_refusal
from nursery.models import Account, Worker
from nursery.views.page import posted, read_and_post


@require_safe
def account_list(request: HttpRequest) -> HttpResponse:
    access.require_grower(request.user)
    accounts = Account.objects.select_related("worker").order_by("username")
    return render(request, "account/list.html", {"accounts": accounts})


@sensitive_post_parameters("password")
@read_and_post
def account_new(request: HttpRequest) -> HttpResponse:
    access.require_grower(request.user)
    form = NewAccountForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            account = create_account(**form.cleaned_data)
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("%(name)s can log in now.") % {"name": account.username})
            return redirect("account-list")
    return render(request, "account/new.html", {"form": form}, status=422 if form.errors else 200)


@read_and_post
def account_edit(request: HttpRequest, username: str) -> HttpResponse:
    account = access.account_for_change(request.user, username)
    form = _change_form(account, data=posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            change_account(account, **form.cleaned_data)
        except ValidationError as error:
            add_refusal(form, error)
        else:
            messages.success(request, _("Changed: %(name)s.") % {"name": account.username})
            return redirect("account-list")
    return _edit_page(request, account, form=form, password_form=PasswordForm())


@sensitive_post_parameters("password")
@require_POST
def account_password(request: HttpRequest, username: str) -> HttpResponse:
    account = access.account_for_change(request.user, username)
    form = PasswordForm(request.POST)
    if form.is_valid():
        try:
            set_password(account, form.cleaned_data["password"])
        except ValidationError as error:
            add_refusal(form, error)
        else:
            forget_tries(account.username)
            if account == request.user:
                update_session_auth_hash(request, account)
            messages.success(request, _("New password set for %(name)s.") % {"name": account.username})
            return redirect("account-list")
    return _edit_page(request, account, form=_change_form(account, data=None), password_form=form)


def _change_form(account: Account, *, data: QueryDict | None) -> ChangeAccountForm:
    worker = Worker.objects.filter(account=account).first()
    now = {
        "kind": kind_of_account(account),
        "worker": worker and worker.key,
        "is_active": account.is_active,
    }
    return ChangeAccountForm(data, account=account, initial=now)


def _edit_page(request, account, *, form, password_form) -> HttpResponse:
    context = {"account": account, "form": form, "password_form": password_form}
    is_wrong = form.errors or password_form.errors
    return render(request, "account/edit.html", context, status=422 if is_wrong else 200)
