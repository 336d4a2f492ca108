"""What to print, on which stock, from which position."""

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from nursery.actions.codes import code_words
from nursery.actions.labels import MOST_AT_ONCE
from nursery.calc.codes import CodeError, read_code
from nursery.labels import STOCKS, Stock


def _stock_choices() -> list[tuple[str, str]]:
    return [(stock.name, _stock_name(stock)) for stock in STOCKS.values()]


def _stock_name(stock: Stock) -> str:
    said = {
        "width": f"{stock.label_width_mm:g}",
        "height": f"{stock.label_height_mm:g}",
        "paper": stock.paper,
        "count": stock.per_page,
    }
    if stock.paper == "roll":
        return gettext("%(width)s × %(height)s mm (roll)") % said
    return gettext("%(width)s × %(height)s mm (%(paper)s, %(count)d a sheet)") % said


class PaperForm(forms.Form):
    """The stock, and where on a part-used sheet to begin."""

    stock = forms.ChoiceField(label=_("Label stock"), choices=_stock_choices)
    start = forms.IntegerField(
        label=_("First free position on the sheet"),
        min_value=1,
        initial=1,
        help_text=_("1 is the top left; count along the row."),
    )


class PrintForm(PaperForm):
    codes = forms.CharField(widget=forms.HiddenInput, required=False)

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
