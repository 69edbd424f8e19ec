"""A small log cut out of a large one, that reads the same around one place."""

from tracelens.cutting.aim import Aim, around_mark, around_miss, around_time, between
from tracelens.cutting.cut import Piece, cut_out

__all__ = ["Aim", "Piece", "around_mark", "around_miss", "around_time", "between", "cut_out"]
