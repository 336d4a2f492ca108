"""Forms of the records. They say what can be typed; what may be stored is decided by the actions."""

from nursery.forms.records.farm import FarmForm
from nursery.forms.records.farmyard import PlaceForm, SeasonForm, WorkerForm
from nursery.forms.records.plants import CropForm, CultivarForm, PairingForm
from nursery.forms.records.seed import SeedLotForm, SowingForm, StandForm
from nursery.forms.records.trays import LayoutForm, TrayFormatForm

__all__ = [
    "CropForm",
    "CultivarForm",
    "FarmForm",
    "LayoutForm",
    "PairingForm",
    "PlaceForm",
    "SeasonForm",
    "SeedLotForm",
    "SowingForm",
    "StandForm",
    "TrayFormatForm",
    "WorkerForm",
]
