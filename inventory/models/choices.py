"""The closed choices of the shop, in the words of the glossary."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Bond(models.TextChoices):
    METAL = "metal", _("metal")
    HYBRID = "hybrid", _("hybrid")
    RESIN = "resin", _("resin")


class Rotation(models.TextChoices):
    EITHER = "either", _("either way")
    LEFT = "left", _("left")
    RIGHT = "right", _("right")


class WetDry(models.TextChoices):
    WET = "wet", _("wet")
    DRY = "dry", _("dry")
    EITHER = "either", _("wet or dry")


class SoakNeed(models.TextChoices):
    NONE = "none", _("no soak")
    REQUIRED = "required", _("soak required")
    UNKNOWN = "unknown", _("not known")


class MachineKind(models.TextChoices):
    RIDE_ON = "ride_on", _("ride-on wet machine")
    WALK_BEHIND = "walk_behind", _("walk-behind wet machine")
    PLANETARY = "planetary", _("planetary grinder")
    HAND = "hand", _("hand machine")
    EDGE = "edge", _("edge machine")


class PlaceKind(models.TextChoices):
    RACK = "rack", _("tool rack")
    TUB = "tub", _("tub")
    BUCKET = "bucket", _("bucket")
    CRATE = "crate", _("crate")
    VAN = "van", _("van")
    SITE = "site", _("site")
    SUPPLIER = "supplier", _("supplier")
    UNKNOWN = "unknown", _("unknown")


class HolderKind(models.TextChoices):
    SHOP = "shop", _("the shop")
    PERSON = "person", _("a person")
    CREW = "crew", _("a crew")
    FIRM = "firm", _("another firm")
    SUPPLIER = "supplier", _("a supplier")


class Fitness(models.TextChoices):
    USABLE = "usable", _("usable")
    SET_ASIDE = "set_aside", _("set aside")
    RETIRED = "retired", _("retired")


class RetiredWhy(models.TextChoices):
    WORN = "worn", _("worn")
    BROKEN = "broken", _("broken")
    CHANGED_EARLY = "changed_early", _("changed early")
    WRITTEN_OFF = "written_off", _("written off")


class Face(models.TextChoices):
    OPEN = "open", _("open")
    GLAZED = "glazed", _("glazed")
    UNKNOWN = "unknown", _("unknown")


class OutingKind(models.TextChoices):
    JOB = "job", _("job")
    LOAN = "loan", _("loan")
    TRANSFER = "transfer", _("transfer")
    REPAIR = "repair", _("repair")


class Source(models.TextChoices):
    PHONE = "phone", _("phone")
    DESK = "desk", _("desk")
    PAPER = "paper", _("paper")
    IMPORT = "import", _("spreadsheet")


class TimeKnown(models.TextChoices):
    EXACT = "exact", _("exact")
    SHIFT = "shift", _("by the shift")
    DAY = "day", _("by the day")


class ClockDoubt(models.TextChoices):
    """What was noticed about the writing clock when the act was accepted."""

    NONE = "none", _("none")
    OFFSET_MOVED = "offset_moved", _("the phone's clock was moved between writing and sending")
    AHEAD = "ahead", _("the phone's clock was ahead of the shop's")


class Kind(models.TextChoices):
    """What an entry says happened."""

    OPENING = "opening", _("opening")
    RECEIVED = "received", _("received")
    LABELLED = "labelled", _("labelled")
    SCANNED_OUT = "scanned_out", _("scanned out")
    SCANNED_IN = "scanned_in", _("scanned in")
    SEEN = "seen", _("seen")
    MOVED = "moved", _("moved")
    HANDED_OVER = "handed_over", _("handed over")
    SOAK_BEGUN = "soak_begun", _("soak begun")
    SOAK_ENDED = "soak_ended", _("soak ended")
    CONDITIONING_CONFIRMED = "conditioning_confirmed", _("conditioning confirmed")
    WATER_READ = "water_read", _("water read")
    WORKED = "worked", _("worked")
    MEASURED = "measured", _("measured")
    PIECES_CHANGED = "pieces_changed", _("pieces changed")
    DRESSED = "dressed", _("dressed")
    TROUBLE = "trouble", _("trouble")
    SET_ASIDE = "set_aside", _("set aside")
    CLEARED = "cleared", _("cleared")
    RETIRED = "retired", _("retired")
    FOUND = "found", _("found")
    COUNTED = "counted", _("counted")
    VOIDED = "voided", _("voided")
    SETTLED = "settled", _("settled")
    SAME_AS = "same_as", _("same as")


class OpeningKind(models.TextChoices):
    NEW = "new", _("new")
    HEIGHT = "height", _("by its height")
    THREE_QUARTERS = "three_quarters", _("about three quarters left")
    HALF = "half", _("about half left")
    QUARTER = "quarter", _("about a quarter left")
    UNKNOWN = "unknown", _("not known")


class Gate(models.TextChoices):
    PASSED = "passed", _("passed")
    OVERRIDDEN = "overridden", _("overridden")
    NOT_ASKED = "not_asked", _("not asked")


class LeftHow(models.TextChoices):
    IN_WATER = "in_water", _("in water")
    DRY = "dry", _("left dry")
    IN_VAN = "in_van", _("in the van")
    CAME_BACK = "came_back", _("came back")
    UNKNOWN = "unknown", _("not known")


class TroubleKind(models.TextChoices):
    RAN_DRY = "ran_dry", _("ran dry")
    CHIPPED = "chipped", _("chipped")
    GLAZED = "glazed", _("glazed")
    LOST = "lost", _("lost")
    OTHER = "other", _("something else")


class Hardness(models.TextChoices):
    SOFT = "soft", _("soft")
    MEDIUM = "medium", _("medium")
    HARD = "hard", _("hard")
    UNKNOWN = "unknown", _("hardness not known")


class Surface(models.TextChoices):
    RAW = "raw", _("raw")
    WORN = "worn", _("worn by traffic")
    COATED = "coated", _("coated")
    GROUND = "ground", _("ground before")
    POLISHED = "polished", _("polished before")


class Coating(models.TextChoices):
    NONE = "none", _("none")
    SEALER = "sealer", _("sealer")
    PAINT = "paint", _("paint")
    EPOXY = "epoxy", _("epoxy")
    GLUE = "glue", _("glue")


class Condition(models.TextChoices):
    """How a floor looks before any step: it chooses the first one (DESIGN 4, common practice)."""

    UNKNOWN = "unknown", _("not looked at")
    SOUND = "sound", _("sound")
    LIGHT = "light", _("light soil")
    HEAVY = "heavy", _("heavy soil or rough")


class StepKind(models.TextChoices):
    FIRST_CUT = "first_cut", _("first cut")
    LATER = "later", _("later step")
    EDGE = "edge", _("edge")
    UPKEEP = "upkeep", _("upkeep")


class Basis(models.TextChoices):
    MEASURED = "measured", _("measured")
    SECTION_DONE = "section_done", _("section done")
    PLANNED = "planned", _("planned")
    GUESSED = "guessed", _("guessed")


class DressMedium(models.TextChoices):
    BLOCK = "block", _("dressing block")
    ABRASIVE_FLOOR = "abrasive_floor", _("abrasive floor")
    SAND = "sand", _("sand")
    OTHER = "other", _("something else")
