"""The words of a categorical column, looked at once each however often they are written."""

import polars as pl

_NO_WORD = '^ | $|["\x00-\x1f\x7f]'


def only_words(frame: pl.DataFrame, *columns: str, besides: str = "") -> bool:
    """Whether every field is empty or a word, which `grammar` defines, without a `besides`."""
    distinct = frame.select(pl.col(column).unique().implode() for column in columns)
    pattern = f"{_NO_WORD}|{besides}" if besides else _NO_WORD
    return not any(
        distinct[column].explode().cast(pl.String).str.contains(pattern).any() for column in columns
    )
