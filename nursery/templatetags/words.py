"""Words of a form inside a sentence."""

from django import template

register = template.Library()


@register.filter
def uncapped(text: object) -> str:
    """Return the text with a small first letter, the rest as it is: "price, EUR"."""
    said = str(text)
    return said[:1].lower() + said[1:]
