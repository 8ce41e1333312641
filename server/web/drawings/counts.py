"""Counts as bars: how many there were as an outline, and how many of them came to something filled in; by week, or a row each."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from server.web.drawings.axis import round_axis
from server.web.drawings.sheet import Drawing, Lettering, Shape, box, letters_wide

Words = Callable[[float], str]
TOP, FLOOR, HEIGHT = 44.0, 214.0, 246.0
RIGHT = 10.0
MOST_OF_A_STEP, WIDEST = 0.72, 46.0
"""Of the room of a week its bar takes so much, and never more pixels than this."""
ROW, ROW_WITH_WORDS_OVER = 27.0, 46.0
BAR, INSET = 16.0, 4.0
"""A bar of a row, and how much slimmer the filled one in it is, so that either is seen where it is the longer."""
LABELS_AT_MOST = 0.36
"""Labels wider than this share of the sheet stand over their bars."""


@dataclass(frozen=True, slots=True)
class Week:
    """A week by its Monday: how much in all, and how much of it came to something."""

    monday: date
    whole: float
    part: float


@dataclass(frozen=True, slots=True)
class Row:
    """A row: its label, how much in all, how much of it came to something, and the same in words."""

    label: str
    whole: float
    part: float
    words: str


@dataclass(frozen=True, slots=True)
class Told:
    """What a chart is about: its title, what is outlined and what filled, and all of it in words."""

    title: str
    whole: str
    part: str
    words: str


def plain_number(value: float) -> str:
    """A number on an axis."""
    return f"{value:g}"


def weeks_chart(
    weeks: Sequence[Week], width: float, told: Told, say: Words = plain_number, least: float = 1.0
) -> Drawing:
    """A bar a week from left to right over an axis from zero; months are named where the first of their weeks begins.

    `say` says an amount on the axis, whose steps are never less than `least`. Where a part is below zero it is not filled.
    """
    amounts = round_axis(max(max(week.whole, week.part) for week in weeks), FLOOR, TOP, most=4, least=least)
    left = round(12 + max(letters_wide(say(value)) for value in amounts.steps), 2)
    right = width - RIGHT
    step = (right - left) / len(weeks)
    wide = min(max(step * MOST_OF_A_STEP, 1.5), WIDEST)
    shapes: list[Shape] = []
    lettering = _key(told, left)
    for value in amounts.steps:
        y = amounts.at(value)
        shapes.append(Shape("grid", f"M{left:g} {y:g}H{right:g}"))
        lettering.append(Lettering("axis-words", left - 7, y + 5, say(value), "end"))
    for number, week in enumerate(weeks):
        middle = left + step * (number + 0.5)
        ends = round(middle - wide / 2, 2), round(middle + wide / 2, 2)
        if week.whole > 0:
            shapes.append(Shape("counted-whole", box(ends[0], amounts.at(week.whole), ends[1], FLOOR)))
        if week.part > 0:
            shapes.append(Shape("counted-part", box(ends[0], amounts.at(week.part), ends[1], FLOOR)))
    shapes.append(Shape("axis-line", f"M{left:g} {FLOOR:g}H{right:g}"))
    lettering += _months(weeks, left, step, right)
    return Drawing(width, HEIGHT, 0, (*_key_shapes(told, left), *shapes), tuple(lettering), told.title, told.words)


def _months(weeks: Sequence[Week], left: float, step: float, right: float) -> list[Lettering]:
    """The day and month of the first week, and then the months as they begin, as far as there is room; or else the last week."""
    first = weeks[0].monday
    words = [Lettering("axis-words", left, FLOOR + 21, f"{first.day} {first:%b}")]
    for number, week in enumerate(weeks[1:], start=1):
        if week.monday.month == weeks[number - 1].monday.month:
            continue
        x = round(left + step * number, 2)
        name = f"{week.monday:%b}" if week.monday.month != 1 else f"{week.monday:%b %Y}"
        last = words[-1]
        if x >= last.x + letters_wide(last.words) + 10 and x + letters_wide(name) <= right:
            words.append(Lettering("axis-words", x, FLOOR + 21, name))
    return words if len(words) > 1 else [*words, *_last_week(weeks, words[0], right)]


def _last_week(weeks: Sequence[Week], first: Lettering, right: float) -> list[Lettering]:
    """The day and month of the last week at the end, where no month begins that there is room for."""
    last = weeks[-1].monday
    name = f"{last.day} {last:%b}"
    x = round(right - letters_wide(name), 2)
    has_room = len(weeks) > 1 and first.x + letters_wide(first.words) + 10 <= x
    return [Lettering("axis-words", x, FLOOR + 21, name)] if has_room else []


KEY = 12.0


def _key(told: Told, left: float) -> list[Lettering]:
    """What is outlined and what is filled, in words over the chart."""
    whole_at = left + KEY + 7
    part_at = whole_at + letters_wide(told.whole) + 22 + KEY + 7
    return [
        Lettering("bar-words", round(x, 2), 17, words)
        for x, words in ((whole_at, told.whole), (part_at, told.part))
        if words
    ]


def _key_shapes(told: Told, left: float) -> tuple[Shape, ...]:
    second = round(left + KEY + 7 + letters_wide(told.whole) + 22, 2)
    boxes = [Shape("counted-whole", box(left, 6, left + KEY, 6 + KEY))]
    if told.part:
        boxes.append(Shape("counted-part", box(second, 6, second + KEY, 6 + KEY)))
    return tuple(boxes)


def rows_chart(rows: Sequence[Row], width: float, told: Told) -> Drawing:
    """A bar a row from zero, all to one scale, with its label before it or, where labels are long, over it, and its words behind."""
    labels = max(letters_wide(row.label) for row in rows)
    is_over = labels > LABELS_AT_MOST * width
    left = 2.0 if is_over else round(labels + 12, 2)
    room = max(letters_wide(row.words) for row in rows) + 12
    most = max(max(row.whole, row.part) for row in rows) or 1
    scale = max(width - left - room, 40) / most
    height = ROW_WITH_WORDS_OVER if is_over else ROW
    shapes: list[Shape] = []
    lettering = _key(told, 2)
    for number, row in enumerate(rows):
        top = 36 + height * number + (height - ROW)
        middle = top + BAR / 2 + 5
        lettering.append(_label(row, left, top, middle, is_over=is_over))
        end = round(left + max(row.whole, row.part) * scale, 2)
        if row.whole > 0:
            shapes.append(Shape("counted-whole", box(left, top, round(left + row.whole * scale, 2), top + BAR)))
        if row.part > 0:
            shapes.append(
                Shape("counted-part", box(left, top + INSET, round(left + row.part * scale, 2), top + BAR - INSET))
            )
        lettering.append(Lettering("bar-words", end + 8, middle, row.words))
    bottom = math.ceil(36 + height * len(rows) + 4)
    shapes.append(Shape("axis-line", f"M{left:g} {32:g}V{bottom - 6:g}"))
    return Drawing(width, bottom, 0, (*_key_shapes(told, 2), *shapes), tuple(lettering), told.title, told.words)


def _label(row: Row, left: float, top: float, middle: float, *, is_over: bool) -> Lettering:
    if is_over:
        return Lettering("axis-words", left, top - 6, row.label)
    return Lettering("axis-words", left - 8, middle, row.label, "end")
