"""Taking events out of the bytes of a log, line by line: what `scan` runs in machine code.

Most lines are written plainly and are taken in one go; what stops that is judged as a line by
`grammar`, and taken slowly if it is an event after all.
"""

from typing import Final

from tracelens.compiled import Memory
from tracelens.log.grammar import (
    COMMA,
    DELETE,
    EVENT,
    LONGEST_WORD,
    NEWLINE,
    PLACES,
    QUOTE,
    RETURN,
    SPACE,
    ZERO,
    A,
    Z,
    digits_from,
    judge,
    number_of,
    packed_word,
    without_return,
)

(
    POSITION, ROW, LINE, FOUND, TOKENS, END, WHOLE,
    ROOM_ROWS, ROOM_TOKENS, ROOM_FOUND, AT_SIZE,
) = range(11)  # fmt: skip
"""Where the pass over a piece stands, and what it may fill: places in its array `at`."""

FOUND_WIDTH: Final = 4
"""A line that is no event: start, end, line number, what it is."""
TEXT_WIDTH: Final = 3
"""A token: hash, start and end of where it stands first."""

_PRIME: Final = 1099511628211
_HASH_MASK: Final = (1 << 56) - 1


def count_lines(data: Memory, start: int, end: int) -> int:
    """How many lines end in data[start:end]."""
    count = 0
    for i in range(start, end):
        count += data[i] == NEWLINE
    return count | 0


def take_lines(
    data: Memory,
    at: Memory,
    words: Memory,
    kinds: Memory,
    slots: Memory,
    texts: Memory,
    found: Memory,
    mask: int,
    time: Memory,
    core: Memory,
    kind: Memory,
    subject: Memory,
    value: Memory,
    line: Memory,
) -> None:
    """Go on with a piece, as far as there is room for rows, tokens, and lines that are no events.

    `whole`: where the last whole line ends. Most lines are events as `take_event` takes them;
    what stops it is judged as a line.
    """
    start = at[POSITION]
    end = at[END]
    whole = at[WHOLE]
    row = at[ROW]
    number = at[LINE]
    most = at[ROOM_ROWS]
    while start < end and row < most and at[TOKENS] + 2 < at[ROOM_TOKENS]:
        after = 0
        if start < whole:
            after = take_event(
                data, start, row, at, words, kinds, slots, texts, mask,
                time, core, kind, subject, value,
            )  # fmt: skip
        if after == 0:
            stop = start
            while stop < end and data[stop] != NEWLINE:
                stop += 1
            what = judge(data, start, stop, words)
            if what == EVENT:
                take_slowly(
                    data, start, stop, row, at, words, kinds, slots, texts, mask,
                    time, core, kind, subject, value,
                )  # fmt: skip
                after = stop + 1
            elif at[FOUND] == at[ROOM_FOUND]:
                break
            else:
                place = at[FOUND] * FOUND_WIDTH
                found[place] = start
                found[place + 1] = stop
                found[place + 2] = number + 1
                found[place + 3] = what
                at[FOUND] += 1
                start = stop + 1
                number += 1
                continue
        number += 1
        line[row] = number
        row += 1
        start = after
    at[POSITION] = start
    at[ROW] = row
    at[LINE] = number


def take_event(
    data: Memory,
    i: int,
    row: int,
    at: Memory,
    words: Memory,
    kinds: Memory,
    slots: Memory,
    texts: Memory,
    mask: int,
    time: Memory,
    core: Memory,
    kind: Memory,
    subject: Memory,
    value: Memory,
) -> int:
    """Take the event at `i`; where the next line begins, 0 if this may be none, see `judge`.

    The line has a line feed, which ends every loop here.
    """
    start = i
    number = 0
    digit = data[i] - ZERO
    while 0 <= digit <= 9 and i - start <= 18:
        number = number * 10 + digit
        i += 1
        digit = data[i] - ZERO
    if i == start or i - start > 18 or data[i] != COMMA:
        return 0
    time[row] = number
    i += 1
    start = i
    number = 0
    digit = data[i] - ZERO
    while 0 <= digit <= 9 and number <= 255:
        number = number * 10 + digit
        i += 1
        digit = data[i] - ZERO
    if i == start or number > 255 or data[i] != COMMA:
        return 0
    core[row] = number
    i += 1
    start = i
    packed = 0
    while A <= data[i] <= Z and i - start < LONGEST_WORD:
        packed = (packed << 5) + data[i] - A + 1
        i += 1
    place = packed % PLACES
    if i == start or words[place] != packed:
        return 0
    kind[row] = kinds[place]
    subject[row] = 0
    value[row] = 0
    for field in range(2):
        if data[i] != COMMA:
            break
        i += 1
        start = i
        spelled = 0
        octet = data[i] | 0
        while octet >= SPACE and octet != COMMA:
            if octet == QUOTE or octet == DELETE:
                return 0
            spelled = (spelled ^ octet) * _PRIME & _HASH_MASK
            i += 1
            octet = data[i] | 0
        if start < i:
            if data[start] == SPACE or data[i - 1] == SPACE:
                return 0
            code = code_of(data, start, i, spelled, at, slots, texts, mask)
            if field == 0:
                subject[row] = code
            else:
                value[row] = code
    if data[i] == RETURN:
        i += 1
    return i + 1 if data[i] == NEWLINE else 0


def take_slowly(
    data: Memory,
    start: int,
    end: int,
    row: int,
    at: Memory,
    words: Memory,
    kinds: Memory,
    slots: Memory,
    texts: Memory,
    mask: int,
    time: Memory,
    core: Memory,
    kind: Memory,
    subject: Memory,
    value: Memory,
) -> None:
    """Take the line data[start:end], which is an event, however it is written."""
    subject[row] = 0
    value[row] = 0
    field = 0
    i = start
    while i <= end:
        if i == end or data[i] == COMMA:
            stop = without_return(data, start, i)
            if field == 0:
                time[row] = tick_of(data, start, stop)
            elif field == 1:
                core[row] = number_of(data, digits_from(data, start, stop), stop)
            elif field == 2:
                kind[row] = kinds[packed_word(data, start, stop) % PLACES]
            elif start < stop:
                spelled = 0
                for k in range(start, stop):
                    spelled = (spelled ^ data[k]) * _PRIME & _HASH_MASK
                code = code_of(data, start, stop, spelled, at, slots, texts, mask)
                if field == 3:
                    subject[row] = code
                else:
                    value[row] = code
            field += 1
            start = i + 1
        i += 1


def tick_of(data: Memory, start: int, end: int) -> int:
    """The number data[start:end], up to 2^64 - 1, less 2^64 if it is 2^63 or more."""
    start = digits_from(data, start, end)
    if end - start <= 18:
        return number_of(data, start, end)
    high = number_of(data, start, end - 10)
    low = number_of(data, end - 10, end)
    if high > 922337203 or (high == 922337203 and low > 6854775807):
        return (high - 1844674407) * 10_000_000_000 + low - 3709551616
    return high * 10_000_000_000 + low


def code_of(
    data: Memory,
    start: int,
    end: int,
    spelled: int,
    at: Memory,
    slots: Memory,
    texts: Memory,
    mask: int,
) -> int:
    """The number of the token data[start:end] of that hash, from 1, in order of appearance."""
    slot = (spelled ^ spelled >> 29) & mask
    while slots[slot] != 0:
        code = slots[slot] | 0
        text = code * TEXT_WIDTH
        if texts[text] == spelled:
            first = texts[text + 1]
            length = end - start
            if texts[text + 2] - first == length:
                k = 0
                while k < length and data[first + k] == data[start + k]:
                    k += 1
                if k == length:
                    return code
        slot = (slot + 1) & mask
    code = at[TOKENS] + 1
    at[TOKENS] = code
    slots[slot] = code
    text = code * TEXT_WIDTH
    texts[text] = spelled
    texts[text + 1] = start
    texts[text + 2] = end
    return code


def fill_slots(slots: Memory, texts: Memory, mask: int, tokens: int) -> None:
    """Put the tokens into slots anew, of which there are more."""
    for code in range(1, tokens + 1):
        spelled = texts[code * TEXT_WIDTH]
        slot = (spelled ^ spelled >> 29) & mask
        while slots[slot] != 0:
            slot = (slot + 1) & mask
        slots[slot] = code
