"""Tables, their rules and their reads. Outside code writes ``from nursery.models import Flat``."""

from nursery.models.base import Event
from nursery.models.bench import (
    BladeEvent,
    Cell,
    Pause,
    Run,
    RunSowing,
    Session,
    Severing,
)
from nursery.models.change import Change, Voiding
from nursery.models.check import (
    LEAVING_REASONS,
    LOSS_CAUSES,
    Cause,
    Check,
    Closing,
    DayCount,
    Mark,
    NumberCount,
    State,
)
from nursery.models.farm import Farm
from nursery.models.flat import (
    LEFT_STAGES,
    Flat,
    LabelPrint,
    LabelStock,
    Layout,
    PrintedCode,
    Stage,
    StageMove,
    TrayFormat,
    standing_moves,
)
from nursery.models.healing import HealingPlan, Reading, Step, StepDone
from nursery.models.job import Job
from nursery.models.leaving import GradeCount, Grading, Leaving, LeavingCount
from nursery.models.people import Account, Device, DeviceToken, Worker
from nursery.models.place import Place, PlaceMove
from nursery.models.plan import Harvest, Planting, Target
from nursery.models.plant import Crop, Cultivar, Method, Pairing, SeedLot, Sowing
from nursery.models.season import Season
from nursery.models.tally import TallyRow

__all__ = [
    "LEAVING_REASONS",
    "LEFT_STAGES",
    "LOSS_CAUSES",
    "Account",
    "BladeEvent",
    "Cause",
    "Cell",
    "Change",
    "Check",
    "Closing",
    "Crop",
    "Cultivar",
    "DayCount",
    "Device",
    "DeviceToken",
    "Event",
    "Farm",
    "Flat",
    "GradeCount",
    "Grading",
    "Harvest",
    "HealingPlan",
    "Job",
    "LabelPrint",
    "LabelStock",
    "Layout",
    "Leaving",
    "LeavingCount",
    "Mark",
    "Method",
    "NumberCount",
    "Pairing",
    "Pause",
    "Place",
    "PlaceMove",
    "Planting",
    "PrintedCode",
    "Reading",
    "Run",
    "RunSowing",
    "Season",
    "SeedLot",
    "Session",
    "Severing",
    "Sowing",
    "Stage",
    "StageMove",
    "State",
    "Step",
    "StepDone",
    "TallyRow",
    "Target",
    "TrayFormat",
    "Voiding",
    "Worker",
    "standing_moves",
]
