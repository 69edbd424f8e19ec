"""A second, independent reading of event logs, slow and plain, to hold the fast one against."""

from tests.reference.reading import Result, analyse_file, analyse_text

__all__ = ["Result", "analyse_file", "analyse_text"]
