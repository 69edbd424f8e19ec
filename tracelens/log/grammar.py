"""Is this line an event? One pass over the bytes of a log finds every line that is not.

The grammar is no wider than what polars' CSV reader takes without a complaint, so the lines that
pass here can be read as one table:

    event   = number "," core "," word [ "," [subject] [ "," [value] ] ]
    number  = {blank} ["+"] digit {digit}         up to 2^64 - 1
    core    = number                              up to 255
    subject, value                                no comma, quote or control character,
                                                  no blank at either end

A carriage return before a comma or a line end means nothing.
"""

from typing import Final

import numpy as np

from tracelens.compiled import compiled
from tracelens.log import unused
from tracelens.model.events import EVENT_WORDS

EVENT: Final = 0
BLANK: Final = 1
REMARK: Final = 2  # a line that begins with '#': a declaration, or a remark
FEW: Final = 3
MANY: Final = 4
TIME: Final = 5
CORE: Final = 6
WORD: Final = 7
TOKEN: Final = 8

REASONS: Final = {
    FEW: unused.FEW_FIELDS,
    MANY: unused.MANY_FIELDS,
    TIME: unused.BAD_TIME,
    CORE: unused.BAD_CORE,
    WORD: unused.BAD_EVENT,
    TOKEN: unused.BAD_WORD,
}

_NEWLINE: Final = 10
_RETURN: Final = 13
_TAB: Final = 9
_SPACE: Final = 32
_QUOTE: Final = 34
_HASH: Final = 35
_PLUS: Final = 43
_COMMA: Final = 44
_ZERO: Final = 48
_A: Final = 97
_Z: Final = 122
_DELETE: Final = 127
_LONGEST_WORD: Final = 13  # letters that fit into an int64 at 27 to a letter


def other_lines(data: bytes | bytearray) -> np.ndarray:
    """Every line that is no event, in order: (start, end, 1-based number, what it is).

    The line is data[start:end], its line feed left out; `what` is one of the constants above.
    A last line without a line feed is a line like any other.
    """
    octets = np.frombuffer(data, np.uint8)
    words = _table_of_words()
    scan = compiled(scan_lines, len(data) // 16)
    room = 1 << 16
    while True:
        found = np.empty((room, 4), np.int64)
        count = scan(octets, data.rfind(b"\n") + 1, words, found)
        if count <= room:
            return found[:count]
        room = count


def _table_of_words() -> np.ndarray:
    """The event words, packed at 27 to a letter, each where its remainder by the length points."""
    packed = []
    for word in EVENT_WORDS:
        packed.append(0)
        for letter in word:
            packed[-1] = packed[-1] * 27 + ord(letter) - 96
    size = len(packed)
    while len({number % size for number in packed}) < len(packed):
        size += 1
    table = np.zeros(size, np.int64)
    for number in packed:
        table[number % size] = number
    return table


def scan_lines(data: np.ndarray, whole: int, words: np.ndarray, found: np.ndarray) -> int:
    """Fill `found` with the lines that are no event; how many there are, even if they don't fit.

    `whole`: where the last whole line ends. Most lines are events and are passed over by
    `after_event`; what stops it is judged as a line.
    """
    count = 0
    line = 0
    start = 0
    size = len(data)
    while start < size:
        line += 1
        if start < whole:
            after = after_event(data, start, words)
            if after > 0:
                start = after
                continue
        end = start
        while end < size and data[end] != _NEWLINE:
            end += 1
        what = judge(data, start, end, words)
        if what != EVENT:
            if count < len(found):
                found[count, 0] = start
                found[count, 1] = end
                found[count, 2] = line
                found[count, 3] = what
            count += 1
        start = end + 1
    return count


def after_event(data: np.ndarray, i: int, words: np.ndarray) -> int:
    """Where the line after the event at `i` begins; 0 if this may be none, see `judge`.

    The line has a line feed, which ends every loop here.
    """
    start = i
    while _ZERO <= data[i] <= _ZERO + 9:
        i += 1
    if i == start or i - start > 19 or data[i] != _COMMA:
        return 0
    i += 1
    start = i
    core = 0
    while _ZERO <= data[i] <= _ZERO + 9 and core <= 255:
        core = core * 10 + (data[i] - _ZERO)
        i += 1
    if i == start or core > 255 or data[i] != _COMMA:
        return 0
    i += 1
    start = i
    packed = 0
    while _A <= data[i] <= _Z and i - start < _LONGEST_WORD:
        packed = packed * 27 + (data[i] - _A + 1)
        i += 1
    if i == start or words[packed % len(words)] != packed:
        return 0
    for _ in range(2):
        if data[i] != _COMMA:
            break
        i += 1
        start = i
        while data[i] >= _SPACE and data[i] != _COMMA:
            if data[i] == _QUOTE or data[i] == _DELETE:
                return 0
            i += 1
        if start < i and (data[start] == _SPACE or data[i - 1] == _SPACE):
            return 0
    if data[i] == _RETURN:
        i += 1
    return i + 1 if data[i] == _NEWLINE else 0


def judge(data: np.ndarray, start: int, end: int, words: np.ndarray) -> int:
    """What the line data[start:end] is."""
    if without_return(data, start, end) == start:
        return BLANK
    if data[start] == _HASH:
        return REMARK
    commas = 0
    first = second = third = fourth = end
    for i in range(start, end):
        if data[i] == _COMMA:
            commas += 1
            if commas == 1:
                first = i
            elif commas == 2:
                second = i
            elif commas == 3:
                third = i
            elif commas == 4:
                fourth = i
    if commas < 2:
        return FEW
    if commas > 4:
        return MANY
    if not is_tick(data, start, first):
        return TIME
    if not is_core(data, first + 1, second):
        return CORE
    if not is_event_word(data, second + 1, third, words):
        return WORD
    if commas > 2 and not is_token(data, third + 1, fourth):
        return TOKEN
    if commas > 3 and not is_token(data, fourth + 1, end):
        return TOKEN
    return EVENT


def digits_from(data: np.ndarray, start: int, end: int) -> int:
    """Where the digits of the number data[start:end] begin, after zeros; -1 if it is none."""
    while start < end and (data[start] == _SPACE or data[start] == _TAB):
        start += 1
    if start < end and data[start] == _PLUS:
        start += 1
    if start == end:
        return -1
    for i in range(start, end):
        if data[i] < _ZERO or data[i] > _ZERO + 9:
            return -1
    while start < end and data[start] == _ZERO:
        start += 1
    return start


def without_return(data: np.ndarray, start: int, end: int) -> int:
    """The end of the field data[start:end] without a carriage return."""
    if start < end and data[end - 1] == _RETURN:
        return end - 1
    return end


def number_of(data: np.ndarray, start: int, end: int) -> int:
    """The value of the digits data[start:end], at most 18 of them."""
    value = 0
    for i in range(start, end):
        value = value * 10 + (data[i] - _ZERO)
    return value


def is_tick(data: np.ndarray, start: int, end: int) -> bool:
    """Whether data[start:end] is a number up to 2^64 - 1 = 18446744073709551615."""
    end = without_return(data, start, end)
    start = digits_from(data, start, end)
    if start < 0 or end - start > 20:
        return False
    if end - start < 20:
        return True
    high = number_of(data, start, start + 10)
    return high < 1844674407 or (
        high == 1844674407 and number_of(data, start + 10, end) <= 3709551615
    )


def is_core(data: np.ndarray, start: int, end: int) -> bool:
    """Whether data[start:end] is a number up to 255."""
    end = without_return(data, start, end)
    start = digits_from(data, start, end)
    return start >= 0 and end - start <= 3 and number_of(data, start, end) <= 255


def is_event_word(data: np.ndarray, start: int, end: int, words: np.ndarray) -> bool:
    """Whether data[start:end] is one of `words`, as in `_table_of_words`."""
    end = without_return(data, start, end)
    if start == end or end - start > _LONGEST_WORD:
        return False
    packed = 0
    for i in range(start, end):
        if data[i] < _A or data[i] > _Z:
            return False
        packed = packed * 27 + (data[i] - _A + 1)
    return bool(words[packed % len(words)] == packed)


def is_token(data: np.ndarray, start: int, end: int) -> bool:
    """Whether data[start:end] is empty or a word."""
    end = without_return(data, start, end)
    if start == end:
        return True
    if data[start] == _SPACE or data[end - 1] == _SPACE:
        return False
    for i in range(start, end):
        if data[i] < _SPACE or data[i] == _QUOTE or data[i] == _DELETE:
            return False
    return True
