"""A recorded run again, as it was or with something changed."""

from tracelens.replay.changes import KINDS, Change, parse
from tracelens.replay.run import Prediction, Replayer, prepare, replay

__all__ = ["KINDS", "Change", "Prediction", "Replayer", "parse", "prepare", "replay"]
