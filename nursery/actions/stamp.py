"""Who did something, when, and on which device: what every event carries."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from nursery.models import Account, Device, Worker


@dataclass(frozen=True, slots=True)
class Stamp:
    """The signature under an event.

    ``at`` is the moment corrected for the device's clock, ``raw_at`` what the device said,
    ``received_at`` when the program heard of it; all aware, in UTC.
    """

    at: datetime
    raw_at: datetime
    received_at: datetime
    account: Account | None = None
    worker: Worker | None = None
    device: Device | None = None

    @classmethod
    def now(cls, account: Account | None = None, worker: Worker | None = None) -> "Stamp":
        """Return a stamp of this moment on the program's own clock."""
        return cls.of(timezone.now(), account, worker)

    @classmethod
    def of(cls, at: datetime, account: Account | None = None, worker: Worker | None = None) -> "Stamp":
        """Return a stamp whose three times are the same."""
        return cls(at=at, raw_at=at, received_at=at, account=account, worker=worker)

    def fields(self) -> dict[str, Any]:
        """Return the columns of an ``Event``."""
        return {
            "at": self.at,
            "raw_at": self.raw_at,
            "received_at": self.received_at,
            "device": self.device,
            "by_worker": self.worker,
            "sent_by": self.account,
        }
