"""Blades: a blade carries disease from flat to flat, so its changes and disinfections are noted."""

from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from nursery.actions.sessions import open_session
from nursery.actions.stamp import Stamp
from nursery.models import BladeEvent, Flat, Session, Voiding


@transaction.atomic
def note_blade(
    session: Session, *, kind: str, stamp: Stamp, product: str = "", flat: Flat | None = None
) -> BladeEvent:
    """Note that ``stamp.worker`` changed or disinfected the blade, before ``flat`` if given.

    ``kind`` is one of ``BladeEvent.Kind``. ValidationError if it was disinfected and no product is given.
    """
    return note_blade_once(BladeEvent(session=session, kind=kind, product=product, flat=flat), stamp=stamp)


@transaction.atomic
def note_blade_once(event: BladeEvent, *, stamp: Stamp, uuid: UUID | None = None) -> BladeEvent:
    """Store a blade event under the UUID of its form: sent twice, it is stored once and the first is kept."""
    open_session(event.session)
    known: BladeEvent | None = BladeEvent.objects.filter(uuid=uuid).first() if uuid else None
    if known:
        return known
    event.product = event.product.strip() if event.kind == BladeEvent.Kind.DISINFECTED else ""
    if event.kind == BladeEvent.Kind.DISINFECTED and not event.product:
        raise ValidationError({"product": _("Say what the blade was disinfected with.")})
    for name, value in stamp.fields().items():
        setattr(event, name, value)
    if uuid:
        event.uuid = uuid
    event.full_clean()
    event.save(force_insert=True)
    return event


@transaction.atomic
def void_blade(event: BladeEvent, *, stamp: Stamp) -> None:
    """Take back a blade event that was a slip; both stay in the book."""
    Voiding.objects.get_or_create(target_uuid=event.uuid, defaults={"target_noun": "blade", **stamp.fields()})
