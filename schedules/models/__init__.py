from schedules.models.collections import CapLift, Collection, FeedLog, LogKind, OwnRate
from schedules.models.rounds import Cause, FrozenLine, Portion, Round, RoundGarden, RoundState, Snapshot

__all__ = [
    "CapLift",
    "Cause",
    "Collection",
    "FeedLog",
    "FrozenLine",
    "LogKind",
    "OwnRate",
    "Portion",
    "Round",
    "RoundGarden",
    "RoundState",
    "Snapshot",
]
