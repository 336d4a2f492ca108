"""The second cut of a tongue approach is taken back. Written down it is by ``leaving.sever``."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.counting import lock_flats, recount_flats
from nursery.actions.stamp import Stamp
from nursery.models import Severing, Voiding


@transaction.atomic
def undo_sever(severing: Severing, *, stamp: Stamp) -> None:
    """Take back a severing: the record day of its run is open again. ValidationError if done before."""
    flat = severing.run.flat_id
    lock_flats([flat])
    if Voiding.objects.filter(target_uuid=severing.uuid).exists():
        raise ValidationError(_("This was taken back already."), code="voided")
    Voiding.objects.create(target_uuid=severing.uuid, target_noun="severing", **stamp.fields())
    recount_flats([flat])
