"""What the shop owns, where it is, how worn, how wet, what it buys."""

from inventory.models.catalogue import (
    ClosedDay,
    Machine,
    MachineVersion,
    Place,
    PlaceVersion,
    Price,
    Recipe,
    Setting,
    ShopHours,
    ShopHoursDay,
    Supplier,
    SupplierWord,
    ToolType,
    ToolTypeVersion,
)
from inventory.models.label import Label
from inventory.models.learnt import AlarmBasis, LearntFloors, LearntLife, OddWear, RefitRun, StoredLife
from inventory.models.ledger import Act, Count, Entry, EntryPiece, ReceiptLine, UnreadItem
from inventory.models.people import Branch, Device, FirstRunCode, Person, PersonRight
from inventory.models.photo import SetPhoto
from inventory.models.purchasing import Order, OrderEvent, OrderLine
from inventory.models.sheet import SheetDraft, SheetRow
from inventory.models.toolset import Outing, SetState, ToolSet

__all__ = [
    "Act",
    "AlarmBasis",
    "Branch",
    "ClosedDay",
    "Count",
    "Device",
    "Entry",
    "EntryPiece",
    "FirstRunCode",
    "Label",
    "LearntFloors",
    "LearntLife",
    "Machine",
    "MachineVersion",
    "OddWear",
    "Order",
    "OrderEvent",
    "OrderLine",
    "Outing",
    "Person",
    "PersonRight",
    "Place",
    "PlaceVersion",
    "Price",
    "ReceiptLine",
    "Recipe",
    "RefitRun",
    "SetPhoto",
    "SetState",
    "Setting",
    "SheetDraft",
    "SheetRow",
    "ShopHours",
    "ShopHoursDay",
    "StoredLife",
    "Supplier",
    "SupplierWord",
    "ToolSet",
    "ToolType",
    "ToolTypeVersion",
    "UnreadItem",
]
