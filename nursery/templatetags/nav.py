"""The links of the top bar."""

from django import template
from django.http import HttpRequest
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from nursery.calc.codes import FLAT, kind_of

register = template.Library()


@register.simple_tag(takes_context=True)
def nav_link(context: template.Context, name: str, label: str, nouns: str) -> SafeString:
    """Link to the page called ``name``, marked as current on it and on every page of its ``nouns``.

    The noun of a page is its URL name up to the first hyphen: "flat" of "flat-list". Two kinds of page have
    another: what happens to a flat at the bench, and what lies behind a code.
    """
    here, noun = _name_and_noun(context.get("request"))
    if here == name:
        current = "page"
    elif noun in nouns.split():
        current = "true"
    else:
        return format_html('<a href="{}">{}</a>', reverse(name), label)
    return format_html('<a href="{}" aria-current="{}">{}</a>', reverse(name), current, label)


def _name_and_noun(request: HttpRequest | None) -> tuple[str, str]:
    match = getattr(request, "resolver_match", None)
    if match is None:
        return "", ""
    name = match.url_name or ""
    noun = name.split("-")[0]
    if match.route.startswith("<code:code>/bench"):
        noun = "bench"
    elif noun == "code" and "code" in match.kwargs:
        noun = "flat" if kind_of(match.kwargs["code"]) == FLAT else "record"
    return name, noun
