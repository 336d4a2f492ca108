"""What to print, on which stock, from which position."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from nursery.actions.codes import code_words
from nursery.actions.labels import MOST_AT_ONCE, Sheet
from nursery.actions.papers import all_stocks, size_words
from nursery.calc.codes import CodeError, read_code
from nursery.labels import STOCKS, Stock
from nursery.models import Farm

FROM_PAGES = ("flats", "sowings", "places", "one")  # where a print was asked for


def stock_name(stock: Stock, *, is_inches: bool) -> str:
    """Return what a paper is called on screen: its own name where the farm gave one, and its measures."""
    words = measure_words(stock, is_inches=is_inches)
    return words if stock.name in STOCKS else f"{stock.name}: {words}"


def measure_words(stock: Stock, *, is_inches: bool) -> str:
    """Return a paper's measures: ``70 × 37 mm (A4, 24 a sheet)``."""
    size = size_words(stock, is_inches=is_inches)
    said = {"size": size, "paper": stock.paper, "count": stock.per_page}
    if stock.paper == "roll":
        words = gettext("%(size)s (roll)") % said
    else:
        words = gettext("%(size)s (%(paper)s, %(count)d a sheet)") % said
    return gettext("Stake tag %s") % words if stock.soil_mm else words


class PaperForm(forms.Form):
    """The stock, and where on a part-used sheet to begin."""

    stock = forms.ChoiceField(label=_("Label paper"))
    start = forms.IntegerField(
        label=_("First free position on the sheet"),
        min_value=1,
        initial=1,
        help_text=_("1 is the top left; count along the row."),
    )

    def __init__(self, *args: Any, farm: Farm, **options: Any) -> None:
        super().__init__(*args, **options)
        is_inches = farm.units == Farm.Units.US
        self.fields["stock"].choices = [
            (name, stock_name(stock, is_inches=is_inches)) for name, stock in all_stocks().items()
        ]

    @property
    def sheet(self) -> Sheet:
        """The paper that was chosen; of a form that is valid."""
        return Sheet(self.cleaned_data["stock"], self.cleaned_data["start"])


class PrintForm(PaperForm):
    codes = forms.CharField(widget=forms.HiddenInput, required=False)
    page = forms.ChoiceField(
        widget=forms.HiddenInput, required=False, choices=[(name, name) for name in FROM_PAGES]
    )
    with_gaps = forms.BooleanField(
        label=_("Leave a line to write on for what does not print"), required=False
    )

    def clean_codes(self) -> list[str]:
        codes = self.data.getlist("codes")
        if not codes:
            raise forms.ValidationError(_("Choose at least one label."))
        try:
            return [read_code(code) for code in codes]
        except CodeError as error:
            raise forms.ValidationError(code_words(error)) from error


class RollForm(PaperForm):
    count = forms.IntegerField(
        label=_("How many codes"), min_value=1, max_value=MOST_AT_ONCE, initial=24, localize=False
    )
    field_order = ("count", "stock", "start")
