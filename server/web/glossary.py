"""The trade's words in plain ones: one table, its page, and links to it where a word is first met.

In an explanation a word in square brackets is a link to its own entry; `[said|word]` says it otherwise.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from markupsafe import Markup, escape

GLOSSARY_PATH = "/words"
_LINK = re.compile(r"\[([^\]|]+)(?:\|([^\]]+))?\]")


@dataclass(frozen=True, slots=True)
class Entry:
    """A word, what it means in a sentence or two, and what else it is called."""

    word: str
    says: str
    aliases: tuple[str, ...] = ()

    @property
    def slug(self) -> str:
        """Its anchor on the page."""
        return re.sub(r"[^a-z0-9]+", "-", self.word.lower()).strip("-")

    @property
    def shown(self) -> Markup:
        """The explanation with its links."""
        return linked(self.says)


@dataclass(frozen=True, slots=True)
class Chapter:
    """Words that belong together, under a heading."""

    heading: str
    entries: tuple[Entry, ...]


CHAPTERS = (
    Chapter(
        "The kit",
        (
            Entry("board", "What you kneel and then stand on. The [foil] is bolted underneath it."),
            Entry(
                "foil",
                "All that is under the [board]: [mast], [fuselage], [front foil] and [tail]. Moving through water, it lifts "
                "the board into the air.",
                ("hydrofoil",),
            ),
            Entry("mast", "The upright blade between [board] and [fuselage]. Its length is how high you can fly."),
            Entry(
                "fuselage",
                "The bar at the foot of the [mast] that joins [front foil] and [tail]. A long one [rocks less].",
            ),
            Entry(
                "front foil",
                "The broad part under water that carries you, shaped to lift as an aeroplane does. More [area] lifts you at a "
                "lower speed.",
            ),
            Entry(
                "tail",
                "The small lifting part at the rear of the [fuselage]. It keeps the [front foil] level.",
                ("stabiliser",),
            ),
            Entry(
                "hand wing",
                "The inflated wing that you carry by its [handles]. It catches the wind and pulls you along.",
                ("wing",),
            ),
            Entry(
                "area", "How much surface a [front foil], a [tail] or a [hand wing] has. More area pulls or lifts more."
            ),
            Entry("span", "How wide a [front foil] or [tail] is from tip to tip."),
            Entry(
                "aspect ratio",
                "How slender a [front foil] is: its [span] multiplied by itself, divided by its [area]. Slender ones glide "
                "further, broad ones forgive more.",
            ),
            Entry(
                "track",
                "The slots under the [board] that the [mast] is bolted into. Board and mast must have the same kind.",
                ("tracks",),
            ),
            Entry(
                "mount",
                "How [mast], [fuselage], [front foil] and [tail] are joined to each other. Every maker has their own, "
                "so they must match.",
            ),
            Entry("handles", "What you grip on a [hand wing]: soft loops, or a stiff bar."),
            Entry("pump", "It blows the [hand wing] up until it is stiff, before you go out."),
            Entry("leash", "A cord that keeps your kit with you when you fall.", ("leashes",)),
            Entry("board leash", "The [leash] from you to the [board], so that it does not drift away."),
            Entry(
                "wing leash", "The [leash] from your wrist or waist to the [hand wing], so that it does not blow away."
            ),
            Entry("helmet", "It guards your head against the [board] and the [foil] when you fall. Sized at the shop."),
            Entry(
                "buoyancy vest",
                "A vest that keeps you up in the water and softens knocks. It is no life jacket: it does not turn your face up.",
                ("vest",),
            ),
            Entry("covers", "Bags that keep [board] and [foil] from knocks, and you from their edges, on the way."),
            Entry("tool kit", "The keys, screws and grease with which the [foil] is put together.", ("tools",)),
            Entry("wetsuit", "A suit of foam rubber that keeps you warm in the water. Sized at the shop.", ("suit",)),
            Entry("travel bag", "One large bag in which the whole kit travels."),
            Entry("spare part", "What mends a part: bolts, shims, a hose, a patch. It belongs to no kit."),
        ),
    ),
    Chapter(
        "Floating and flying",
        (
            Entry(
                "volume",
                "How much room a [board] takes up, in litres. Each litre carries about one kilogram on the water.",
                ("litres", "litres of float"),
            ),
            Entry(
                "float margin",
                "The [litres] a [board] has over what it takes to carry you and the kit. With some to spare you come home on your "
                "knees when the wind dies.",
                ("litres to spare", "float"),
            ),
            Entry("draught", "How deep the [board] sits in the water while you are on it and at rest."),
            Entry(
                "take-off speed",
                "The speed through the water at which the [foil] lifts the [board] out. The lower it is, the sooner you fly.",
                ("take-off", "lift-off"),
            ),
            Entry(
                "steady",
                "Said of a set-up that is calm and slow to answer, for first flights. It has a long [mast] and [fuselage] and a "
                "broad [front foil].",
                ("steady set-up",),
            ),
            Entry(
                "lively",
                "Said of a set-up that answers quickly, for flights that link up. It asks for more balance than a [steady] one.",
                ("lively set-up",),
            ),
            Entry(
                "rocks less",
                "How calmly the [foil] keeps its nose level. A larger [tail] further back makes it calmer; engineers measure it "
                "as the tail volume.",
                ("tail volume",),
            ),
            Entry(
                "misfit",
                "How far a part is from the ideal for you. Nought is exactly right; a part too far off is not offered as sound.",
            ),
            Entry(
                "hands",
                "New hands have held a [hand wing] a few times; practised hands have held one often. Practised hands fly "
                "in less wind, and cope with more.",
                ("new hands", "practised hands"),
            ),
        ),
    ),
    Chapter(
        "Wind and water",
        (
            Entry(
                "knots",
                "The unit of wind and of boats at sea. One knot is one nautical mile, 1.852 km, an hour.",
                ("knot",),
            ),
            Entry(
                "Beaufort",
                "A scale of wind from force 0, calm, to force 12, a hurricane. Force 4, written F4, is 11 to 16 [knots].",
                ("force",),
            ),
            Entry(
                "winds that suit",
                "From the least wind that lifts you to the most you can cope with. An estimate, and never a permission to go.",
                ("wind window", "suitable wind"),
            ),
            Entry(
                "apparent wind",
                "The wind you feel while you move: the real one and the one you make yourself. Flying fast, it comes more from ahead.",
            ),
            Entry(
                "onshore wind",
                "Wind from the water to the land. It brings you back, and first flights belong in it.",
                ("onshore",),
            ),
            Entry(
                "offshore wind",
                "Wind from the land out over the water. It carries you away, and near the beach it feels weaker than "
                "it is: stay ashore.",
                ("offshore",),
            ),
            Entry(
                "cross-shore wind",
                "Wind along the beach. It can carry you past the place where you can land, so ask the instructor first.",
                ("cross-shore",),
            ),
            Entry(
                "gust", "A sudden stronger blow of wind. In gusty places fewer days are good ones.", ("gusts", "gusty")
            ),
            Entry("chop", "Short, steep waves that the wind makes. A [mast] must be long enough to fly over them."),
        ),
    ),
    Chapter(
        "Buying",
        (
            Entry(
                "quote", "A kit for you with its price, kept under a code. The price is good until the day it names."
            ),
            Entry(
                "revision",
                "A later version of a [quote]. The earlier one is never changed, so both can be looked at.",
            ),
            Entry(
                "hold",
                "Parts set aside for you for a while, at your request. It is not yet a contract.",
                ("set aside",),
            ),
            Entry(
                "kit discount",
                "What is taken off when you buy most or all of a kit together. The more parts, the higher the step, called a tier.",
                ("tier", "kit tier"),
            ),
            Entry(
                "deposit",
                "Here, the fees you paid for lessons. They are given back when you buy the whole kit in time.",
                ("lesson deposit",),
            ),
            Entry(
                "trade-in",
                "Old gear that you give us towards new. What it counts is an estimate until we have seen it.",
                ("traded in", "trade in"),
            ),
        ),
    ),
)

ENTRIES = {entry.slug: entry for chapter in CHAPTERS for entry in chapter.entries}
SLUGS = {name.lower(): entry.slug for entry in ENTRIES.values() for name in (entry.slug, entry.word, *entry.aliases)}


@lru_cache(maxsize=512)
def term(word: str, said: str = "") -> Markup:
    """A word as a link to its explanation, said otherwise where that is asked; raises `KeyError` for a word without an entry."""
    return Markup('<a class="term" href="{}#{}">{}</a>').format(GLOSSARY_PATH, SLUGS[word.lower()], said or word)


def linked(text: str) -> Markup:
    """A text in which words in square brackets become links."""
    pieces: list[str] = []
    at = 0
    for link in _LINK.finditer(text):
        pieces += [escape(text[at : link.start()]), term(link[2] or link[1], link[1])]
        at = link.end()
    return Markup("").join([*pieces, escape(text[at:])])
