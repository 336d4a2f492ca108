"""What to print, on which stock, from which position."""

from django import forms
from django.utils.translation import gettext_lazy as _

from nursery.actions.labels import MOST_AT_ONCE
from nursery.calc.codes import CodeError, read_code
from nursery.labels import STOCKS


def _stock_choices() -> list[tuple[str, str]]:
    return [(stock.name, _stock_name(stock)) for stock in STOCKS.values()]


def _stock_name(stock: object) -> str:
    paper = "roll" if stock.paper == "roll" else f"{stock.paper}, {stock.per_page} a sheet"
    return f"{stock.label_width_mm:g} x {stock.label_height_mm:g} mm ({paper})"


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
            raise forms.ValidationError(str(error)) from error


class RollForm(PaperForm):
    count = forms.IntegerField(
        label=_("How many codes"), min_value=1, max_value=MOST_AT_ONCE, initial=24, localize=False
    )
    field_order = ("count", "stock", "start")
