"""A recorded run again, as it was or with something changed."""

from tracelens.replay.advice import Advice, search
from tracelens.replay.changes import KINDS, Change, parse
from tracelens.replay.moved import moved
from tracelens.replay.run import Prediction, Replayer, prepare, replay

__all__ = [
    "KINDS",
    "Advice",
    "Change",
    "Prediction",
    "Replayer",
    "moved",
    "parse",
    "prepare",
    "replay",
    "search",
]
