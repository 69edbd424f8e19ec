"""Is this line an event, and if not, what is it?

The grammar is what polars' CSV reader takes without a complaint, as far as words are words, so a
log without damage can be read by it as well:

    event   = number "," core "," word [ "," [subject] [ "," [value] ] ]
    number  = {blank} ["+"] digit {digit}         up to 2^64 - 1
    core    = number                              up to 255
    subject, value                                no comma, quote or control character,
                                                  no blank at either end

A carriage return before a comma or a line end means nothing.
"""

from typing import Final

from tracelens.compiled import Memory
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

NEWLINE: Final = 10
RETURN: Final = 13
_TAB: Final = 9
SPACE: Final = 32
QUOTE: Final = 34
_HASH: Final = 35
_PLUS: Final = 43
COMMA: Final = 44
ZERO: Final = 48
A: Final = 97
Z: Final = 122
DELETE: Final = 127
LONGEST_WORD: Final = 12  # letters that fit into an int64 at 5 bits to a letter


def packed_words() -> list[int]:
    """The event words in the order of their codes, each packed at 5 bits to a letter."""
    packed = []
    for word in EVENT_WORDS:
        packed.append(0)
        for letter in word:
            packed[-1] = packed[-1] << 5 | ord(letter) - A + 1
    return packed


def _places() -> int:
    """The least number of places for the event words, each at its remainder."""
    packed = packed_words()
    size = len(packed)
    while len({number % size for number in packed}) < len(packed):
        size += 1
    return size


PLACES: Final = _places()
"""How many places a table of the event words has: a word is at its remainder by that."""


def judge(data: Memory, start: int, end: int, words: Memory) -> int:
    """What the line data[start:end] is. `words` has each packed event word at its place."""
    if without_return(data, start, end) == start:
        return BLANK
    if data[start] == _HASH:
        return REMARK
    commas = 0
    first = second = third = fourth = end
    for i in range(start, end):
        if data[i] == COMMA:
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


def digits_from(data: Memory, start: int, end: int) -> int:
    """Where the digits of the number data[start:end] begin, after zeros; -1 if it is none."""
    while start < end and (data[start] == SPACE or data[start] == _TAB):
        start += 1
    if start < end and data[start] == _PLUS:
        start += 1
    if start == end:
        return -1
    for i in range(start, end):
        if data[i] < ZERO or data[i] > ZERO + 9:
            return -1
    while start < end and data[start] == ZERO:
        start += 1
    return start


def without_return(data: Memory, start: int, end: int) -> int:
    """The end of the field data[start:end] without a carriage return."""
    if start < end and data[end - 1] == RETURN:
        return end - 1
    return end


def number_of(data: Memory, start: int, end: int) -> int:
    """The value of the digits data[start:end], at most 18 of them."""
    value = 0
    for i in range(start, end):
        value = value * 10 + (data[i] - ZERO)
    return value


def is_tick(data: Memory, start: int, end: int) -> bool:
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


def is_core(data: Memory, start: int, end: int) -> bool:
    """Whether data[start:end] is a number up to 255."""
    end = without_return(data, start, end)
    start = digits_from(data, start, end)
    return start >= 0 and end - start <= 3 and number_of(data, start, end) <= 255


def is_event_word(data: Memory, start: int, end: int, words: Memory) -> bool:
    """Whether data[start:end] is one of `words`."""
    packed = packed_word(data, start, without_return(data, start, end))
    return packed > 0 and words[packed % PLACES] == packed


def packed_word(data: Memory, start: int, end: int) -> int:
    """data[start:end] packed at 5 bits to a letter; 0 if that cannot be an event word."""
    if end - start > LONGEST_WORD:
        return 0
    packed = 0
    for i in range(start, end):
        if data[i] < A or data[i] > Z:
            return 0
        packed = (packed << 5) + data[i] - A + 1
    return packed


def is_token(data: Memory, start: int, end: int) -> bool:
    """Whether data[start:end] is empty or a word."""
    end = without_return(data, start, end)
    if start == end:
        return True
    if data[start] == SPACE or data[end - 1] == SPACE:
        return False
    for i in range(start, end):
        if data[i] < SPACE or data[i] == QUOTE or data[i] == DELETE:
            return False
    return True
