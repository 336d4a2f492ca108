"""What a round is chosen by, as it stands in the address."""

from django import forms

from nursery.models import Stage

# Nothing to check stands in a flat that is only sown, or that left.
CHECKED_STAGES = [Stage.BENCH, Stage.CHAMBER, Stage.ACCLIMATION, Stage.GROWING_ON]


class RoundForm(forms.Form):
    """Place by its code, session by its key, stage, and whether only flats that are due."""

    place = forms.CharField(required=False, max_length=200)
    session = forms.UUIDField(required=False)
    stage = forms.ChoiceField(
        required=False, choices=[("", ""), *((s.value, s.label) for s in CHECKED_STAGES)]
    )
    due = forms.BooleanField(required=False)
