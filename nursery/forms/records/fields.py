"""Fields that take numbers the way a grower writes them."""

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

MM_PER_INCH = Decimal("25.4")  # exact since the international yard and pound agreement of 1959


def plain_number(value: Decimal) -> str:
    """Write a number without trailing zeros and without an exponent: ``92.50`` is ``92.5``."""
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


class CommaDecimalField(forms.DecimalField):
    """A decimal number; a comma may stand for the decimal point. A thousands sign is refused, not guessed."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})

    def prepare_value(self, value: Any) -> Any:
        return plain_number(value) if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:
        text = "".join(str(value or "").split()).replace(",", ".")
        if text.count(".") > 1:
            raise forms.ValidationError(
                _("Write %(value)s without a thousands sign."), code="thousands", params={"value": value}
            )
        number = super().to_python(text)
        if number is not None and not number.is_finite():  # "nan" and "inf" are numbers to Python
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid")
        return number


class PercentField(CommaDecimalField):
    """Typed as percent, with or without its sign; cleaned to a share of 0 to 1."""

    def __init__(self, **options: Any) -> None:
        super().__init__(min_value=0, max_value=100, max_digits=5, decimal_places=2, **options)

    def prepare_value(self, value: Any) -> Any:
        return plain_number(value * 100) if isinstance(value, Decimal) else value

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(str(value or "").strip().removesuffix("%"))

    def clean(self, value: Any) -> Decimal | None:
        percent = super().clean(value)
        return None if percent is None else percent / 100


class LengthField(CommaDecimalField):
    """A length in the farm's units; cleaned to whole millimetres."""

    def __init__(self, *, is_inches: bool = False, **options: Any) -> None:
        self.is_inches = is_inches
        super().__init__(min_value=Decimal("0.1"), max_digits=6, decimal_places=2, **options)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int) and self.is_inches:
            return plain_number((value / MM_PER_INCH).quantize(Decimal("0.01")))
        return value

    def clean(self, value: Any) -> int | None:
        length = super().clean(value)
        if length is None:
            return None
        try:
            return round(length * MM_PER_INCH if self.is_inches else length)
        except InvalidOperation as error:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from error
