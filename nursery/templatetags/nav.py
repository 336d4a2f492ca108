"""The links of the top bar."""

from django import template
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()


@register.simple_tag(takes_context=True)
def nav_link(context: template.Context, name: str, label: str, nouns: str) -> SafeString:
    """Link to the page called ``name``, marked as current on it and on every page of its ``nouns``.

    The noun of a page is its URL name up to the first hyphen: "flat" of "flat-detail".
    """
    match = getattr(context.get("request"), "resolver_match", None)
    here = (match and match.url_name) or ""
    if here == name:
        current = "page"
    elif here.split("-")[0] in nouns.split():
        current = "true"
    else:
        return format_html('<a href="{}">{}</a>', reverse(name), label)
    return format_html('<a href="{}" aria-current="{}">{}</a>', reverse(name), current, label)
