"""The seed catalogue is a shop one could walk into: valid codes, parts that could be built, shelves with gaps.

Read straight from the files, so that a fault in the data is not hidden by the code that loads it.
"""

import csv
import re
import tomllib
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from itertools import combinations, pairwise, product
from pathlib import Path
from statistics import fmean, median
from typing import NamedTuple

import pytest
from stdnum import ean

SEED = Path(__file__).resolve().parents[2] / "seed_catalogue"

Row = dict[str, str]


def rows_of(name: str) -> list[Row]:
    with (SEED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


CORE_SLOTS = {
    "board": "boards",
    "mast": "masts",
    "fuselage": "fuselages",
    "front_foil": "front_foils",
    "tail": "tails",
    "hand_wing": "hand_wings",
}
EXTRA_SLOTS = {
    "pump",
    "board_leash",
    "wing_leash",
    "helmet",
    "buoyancy_vest",
    "covers",
    "tool_kit",
    "wetsuit",
    "travel_bag",
}
PART_FILES = [*CORE_SLOTS.values(), "extras"]
OTHER_FILES = ["price_history", "spots", "lessons", "delivery"]
MONTHS = [f"{month:02d}" for month in range(1, 13)]

PARTS = {name: rows_of(name) for name in PART_FILES}
ALL_PARTS = [row for rows in PARTS.values() for row in rows]
BY_SKU = {row["sku"]: row for row in ALL_PARTS}
MARKED_DOWN = [row for row in ALL_PARTS if row["markdown_price"]]
SPOTS = rows_of("spots")
POLICY = tomllib.loads((SEED / "policy.toml").read_text(encoding="utf-8"))
README = (SEED / "README.md").read_text(encoding="utf-8")


class PriceSince(NamedTuple):
    day: date
    price: Decimal


def history_by_sku() -> dict[str, list[PriceSince]]:
    history: dict[str, list[PriceSince]] = {}
    for row in rows_of("price_history"):
        since = PriceSince(date.fromisoformat(row["from"]), Decimal(row["price"]))
        history.setdefault(row["sku"], []).append(since)
    return history


HISTORY = history_by_sku()


def sku_of(row: Row) -> str:
    return row["sku"]


def is_on_offer(row: Row) -> bool:
    return row["sold"] != "no" and int(row["on_hand"]) > 0


def ids_of(rows: list[Row]) -> list[str]:
    return [sku_of(row) for row in rows]


# --- The files themselves -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*PART_FILES, *OTHER_FILES])
def test_a_file_is_plain_utf8_with_line_feeds_and_every_row_is_as_long_as_its_header(name: str) -> None:
    raw = (SEED / f"{name}.csv").read_bytes()
    assert raw.endswith(b"\n")
    assert b"\r" not in raw
    assert not raw.startswith(b"\xef\xbb\xbf")
    header, *lines = csv.reader(raw.decode("utf-8").splitlines(), strict=True)
    assert lines
    assert len(set(header)) == len(header)
    assert {len(line) for line in lines} == {len(header)}


@pytest.mark.parametrize("name", PART_FILES)
def test_the_parts_files_begin_with_the_same_eight_columns_all_filled(name: str) -> None:
    shared = ["sku", "name", "maker", "gtin", "price", "cost", "on_hand", "mass_kg"]
    assert list(PARTS[name][0])[:8] == shared
    assert all(row[column].strip() == row[column] != "" for row in PARTS[name] for column in shared)


@pytest.mark.parametrize("name", [*PART_FILES, *OTHER_FILES])
def test_every_column_is_explained_in_the_readme(name: str) -> None:
    explained = set(re.findall(r"`([^`]+)`", README))
    months_between = {f"{stem}_{month}" for stem in ("mean", "water_c") for month in MONTHS}
    assert set(rows_of(name)[0]) - months_between <= explained


def test_every_key_of_the_policy_is_explained_in_the_readme() -> None:
    explained = re.findall(r"^\| (`.+?`) \|", README, re.MULTILINE)
    words = {word for cell in explained for name in re.findall(r"`([^`]+)`", cell) for word in name.split(".")}
    assert keys_of({key: value for key, value in POLICY.items() if key != "tiers"}) <= words
    assert {key for tier in POLICY["tiers"] for key in tier} <= words


def keys_of(table: dict[str, object]) -> set[str]:
    inner = [keys_of(value) for value in table.values() if isinstance(value, dict)]
    return set(table).union(*inner)


def test_money_is_written_with_two_decimals_and_in_range() -> None:
    money = re.compile(r"\d{1,6}\.\d\d")
    written = [row[column] for row in ALL_PARTS for column in ("price", "cost")]
    written += [row["markdown_price"] for row in MARKED_DOWN]
    written += [row["price"] for row in rows_of("price_history")]
    written += [row[column] for name in ("lessons", "delivery") for row in rows_of(name) for column in ("fee", "cost")]
    assert all(money.fullmatch(text) for text in written)
    assert all(Decimal("0.01") <= Decimal(text) <= Decimal("100000.00") for text in written)


# --- Codes ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("part", ALL_PARTS, ids=ids_of(ALL_PARTS))
def test_a_bar_code_has_thirteen_digits_and_a_valid_check_digit(part: Row) -> None:
    # GS1 General Specifications, check digit; python-stdnum is the outside authority.
    assert re.fullmatch(r"\d{13}", part["gtin"])
    assert ean.is_valid(part["gtin"])


def test_bar_codes_lie_in_a_range_kept_for_a_shops_own_use() -> None:
    # GS1 General Specifications, restricted circulation numbers (prefixes 020 to 029, 040 to 049, 200 to 299), from
    # memory: no real product can carry one of these.
    assert all(210 <= int(part["gtin"][:3]) <= 219 for part in ALL_PARTS)


def test_no_sku_bar_code_or_name_of_a_core_part_is_used_twice() -> None:
    core = [row for name in CORE_SLOTS.values() for row in PARTS[name]]
    for used in (
        Counter(row["sku"] for row in ALL_PARTS),
        Counter(row["gtin"] for row in ALL_PARTS),
        Counter((row["maker"], row["name"]) for row in core),
        Counter((row["slot"], row["name"], row["size"]) for row in PARTS["extras"]),
    ):
        assert [key for key, times in used.items() if times > 1] == []


def test_skus_are_short_and_in_capital_letters() -> None:
    # Common practice of the trade, no source: a code must fit on a shelf label and be read out over the telephone.
    assert all(re.fullmatch(r"[A-Z]{3}-[A-Z0-9]{2,6}", part["sku"]) for part in ALL_PARTS)


def test_no_maker_is_also_a_place_or_the_shop() -> None:
    shop = POLICY["shop"]
    makers = {row["maker"] for row in ALL_PARTS}
    assert len(makers) >= 6
    assert makers.isdisjoint({row["name"] for row in SPOTS} | {shop["name"], shop["place"]})


# --- Could these parts be built? --------------------------------------------------------------------------------------


@pytest.mark.parametrize("board", PARTS["boards"], ids=ids_of(PARTS["boards"]))
def test_a_board_fills_a_credible_share_of_the_box_around_it(board: Row) -> None:
    # Geometry: volume = block coefficient x length x width x thickness. The band is common practice of the trade, no
    # source.
    box_cm3 = float(board["length_cm"]) * float(board["width_cm"]) * float(board["thickness_cm"])
    assert 0.50 <= float(board["volume_l"]) * 1000 / box_cm3 <= 0.75
    assert board["bottom"] in {"flat", "rounded", "vee"}


@pytest.mark.parametrize("foil", PARTS["front_foils"], ids=ids_of(PARTS["front_foils"]))
def test_a_front_foils_area_span_and_aspect_ratio_agree(foil: Row) -> None:
    # Geometry: area = span x mean chord and aspect ratio = span / mean chord, so aspect ratio = span^2 / area.
    stated = float(foil["aspect_ratio"])
    assert float(foil["span_cm"]) ** 2 / float(foil["area_cm2"]) == pytest.approx(stated, rel=0.02)
    # Common practice of the trade, no source.
    assert 4.5 <= stated <= 9


# Common practice of the trade, no source: file, column of the area, its factor to cm2, slenderness span^2 / area.
SLENDERNESS = [("tails", "area_cm2", 1.0, 4.0, 9.0), ("hand_wings", "area_m2", 1e4, 2.4, 4.5)]


@pytest.mark.parametrize(("name", "area", "to_cm2", "least", "most"), SLENDERNESS)
def test_tails_and_hand_wings_are_neither_stubby_nor_needles(
    name: str, area: str, to_cm2: float, least: float, most: float
) -> None:
    slenderness = {row["sku"]: float(row["span_cm"]) ** 2 / (float(row[area]) * to_cm2) for row in PARTS[name]}
    assert {sku: ratio for sku, ratio in slenderness.items() if not least <= ratio <= most} == {}


def test_a_tail_is_cut_smaller_and_not_by_more_than_a_quarter() -> None:
    # Geometry, and common practice of the trade, no source, for the quarter.
    cut = [row for row in PARTS["tails"] if row["cut_to_cm2"]]
    assert cut
    assert all(0.75 <= float(row["cut_to_cm2"]) / float(row["area_cm2"]) < 1 for row in cut)


# Common practice of the trade, no source: file, column, least, most.
BANDS = [
    ("boards", "volume_l", 60, 165),
    ("boards", "mass_kg", 4, 11),
    ("masts", "length_cm", 60, 95),
    ("masts", "mass_kg", 1.2, 3.2),
    ("fuselages", "length_cm", 52, 76),
    ("fuselages", "mass_kg", 0.3, 1.0),
    ("front_foils", "area_cm2", 900, 2400),
    ("front_foils", "mass_kg", 1.0, 3.0),
    ("tails", "area_cm2", 180, 340),
    ("tails", "mass_kg", 0.3, 0.9),
    ("hand_wings", "area_m2", 2.5, 7.0),
    ("hand_wings", "mass_kg", 1.8, 4.0),
    ("extras", "mass_kg", 0.1, 8.0),
]


@pytest.mark.parametrize(("name", "column", "least", "most"), BANDS)
def test_sizes_and_masses_stay_inside_what_the_trade_sells(name: str, column: str, least: float, most: float) -> None:
    measured = {row["sku"]: float(row[column]) for row in PARTS[name]}
    assert {sku: value for sku, value in measured.items() if not least <= value <= most} == {}


# Geometry: in one line of one construction more of the part is more mass. File and the column of its size.
SIZES = [
    ("boards", "volume_l"),
    ("masts", "length_cm"),
    ("fuselages", "length_cm"),
    ("front_foils", "area_cm2"),
    ("tails", "area_cm2"),
    ("hand_wings", "area_m2"),
]


@pytest.mark.parametrize(("name", "size"), SIZES)
def test_within_a_makers_line_a_larger_part_is_heavier_and_no_cheaper(name: str, size: str) -> None:
    lines: dict[tuple[str, str], list[Row]] = {}
    for row in PARTS[name]:
        line = re.sub(r"[\d.]+", "#", row["name"])
        lines.setdefault((row["maker"], line), []).append(row)
    for line_rows in lines.values():
        for smaller, larger in pairwise(sorted(line_rows, key=lambda row: float(row[size]))):
            assert float(smaller["mass_kg"]) < float(larger["mass_kg"]), (smaller["sku"], larger["sku"])
            assert Decimal(smaller["price"]) <= Decimal(larger["price"]), (smaller["sku"], larger["sku"])


@pytest.mark.parametrize(("name", "size"), SIZES)
def test_of_two_parts_of_one_size_the_dearer_is_no_heavier(name: str, size: str) -> None:
    # Common practice of the trade, no source: lightness is what the dearer materials are paid for.
    of_one_size = [pair for pair in combinations(PARTS[name], 2) if pair[0][size] == pair[1][size]]
    for pair in of_one_size:
        cheaper, dearer = sorted(pair, key=lambda row: Decimal(row["price"]))
        if Decimal(cheaper["price"]) < Decimal(dearer["price"]):
            assert float(dearer["mass_kg"]) <= float(cheaper["mass_kg"]), (cheaper["sku"], dearer["sku"])


def test_most_boards_are_wide_and_flat_and_a_few_are_narrow() -> None:
    # Common practice of the trade, no source: a learner stands more easily on a short wide board than on a long narrow
    # one.
    slim = {row["sku"]: float(row["length_cm"]) / float(row["width_cm"]) for row in PARTS["boards"]}
    assert sum(2.2 <= ratio <= 3.0 for ratio in slim.values()) >= 0.7 * len(slim)
    assert 2 <= sum(ratio > 3.3 for ratio in slim.values()) <= 6
    assert sum(row["bottom"] == "flat" for row in PARTS["boards"]) >= 0.6 * len(slim)


def test_a_wide_flat_board_is_as_wide_as_the_learner_it_floats_needs_and_not_too_thick() -> None:
    # Common practice of the trade, no source: width 52 cm + 0.2 cm for each kg, a learner of V / 1.3 kg, and thickness
    # 14 cm up to 130 L or 16 cm above.
    for board in PARTS["boards"]:
        volume_l = float(board["volume_l"])
        if float(board["length_cm"]) / float(board["width_cm"]) <= 2.8:
            assert float(board["width_cm"]) >= 52 + 0.2 * volume_l / 1.3, board["sku"]
            assert float(board["thickness_cm"]) <= (16 if volume_l > 130 else 14), board["sku"]


# --- The range on the shelf -----------------------------------------------------------------------------------------


def test_the_shop_lists_at_least_140_parts_and_every_kind_of_extra() -> None:
    assert len(ALL_PARTS) >= 140
    assert {row["slot"] for row in PARTS["extras"]} == EXTRA_SLOTS
    sizes = Counter(row["slot"] for row in PARTS["extras"])
    assert all(sizes[slot] >= 3 for slot in ("helmet", "buoyancy_vest", "wetsuit", "board_leash", "wing_leash"))


def test_there_are_two_tracks_and_two_mounts_and_the_same_two_everywhere() -> None:
    tracks = {row["track"] for row in PARTS["boards"]}
    mounts = {row["mount"] for row in PARTS["masts"]}
    assert len(tracks) == len(mounts) == 2
    assert {row["track"] for row in PARTS["masts"]} == tracks
    assert all({row["mount"] for row in PARTS[name]} == mounts for name in ("fuselages", "front_foils", "tails"))


def test_every_track_meets_every_mount_in_masts_from_short_to_long() -> None:
    tracks = {row["track"] for row in PARTS["boards"]}
    mounts = {row["mount"] for row in PARTS["masts"]}
    for track, mount in product(tracks, mounts):
        lengths = [
            float(row["length_cm"])
            for row in PARTS["masts"]
            if (row["track"], row["mount"]) == (track, mount) and is_on_offer(row)
        ]
        # Common practice of the trade, no source: first flights on about 70 to 76 cm, later ones on about 85 to 90 cm.
        assert any(68 <= length <= 78 for length in lengths), (track, mount)
        assert any(84 <= length <= 90 for length in lengths), (track, mount)


# Common practice of the trade, no source: file, column it must fit by, column of its size, about the smallest and the
# largest of the range, and the widest step in per cent that a learner should meet on the shelf.
STEPS = [
    ("boards", "track", "volume_l", (60, 165), 20),
    ("front_foils", "mount", "area_cm2", (950, 2350), 35),
    ("tails", "mount", "area_cm2", (190, 325), 30),
    ("hand_wings", "", "area_m2", (3.0, 7.0), 20),
]


@pytest.mark.parametrize(("name", "family", "size", "smallest_and_largest", "step_percent"), STEPS)
def test_what_is_in_stock_runs_from_small_to_large_without_a_hole(
    name: str, family: str, size: str, smallest_and_largest: tuple[float, float], step_percent: float
) -> None:
    smallest, largest = smallest_and_largest
    families: dict[str, list[float]] = {}
    for row in PARTS[name]:
        if is_on_offer(row):
            families.setdefault(row[family] if family else "all", []).append(float(row[size]))
    for sizes in families.values():
        assert min(sizes) <= smallest * 1.10
        assert max(sizes) >= largest * 0.95
        assert all(above / below <= 1 + step_percent / 100 for below, above in pairwise(sorted(sizes)))


def test_hand_wings_come_in_half_metre_steps() -> None:
    # Common practice of the trade, no source.
    areas = {Decimal(row["area_m2"]) for row in PARTS["hand_wings"]}
    assert areas == {Decimal(half) / 2 for half in range(5, 15)}
    assert len({row["maker"] for row in PARTS["hand_wings"]}) >= 2


def test_extras_sized_by_mass_leave_no_learner_between_two_sizes() -> None:
    # Learners from 35 to 160 kg are sized; both ends of a range count.
    for slot in ("board_leash", "wing_leash", "buoyancy_vest", "covers"):
        ranges = sorted(
            (float(row["mass_from_kg"]), float(row["mass_to_kg"])) for row in PARTS["extras"] if row["slot"] == slot
        )
        assert ranges[0][0] == 35
        assert ranges[-1][1] == 160
        assert all(lower[1] >= upper[0] for lower, upper in pairwise(ranges)), slot


def test_some_shelves_are_empty_and_a_few_parts_are_no_longer_sold() -> None:
    empty = sum(int(row["on_hand"]) == 0 for row in ALL_PARTS)
    assert 0.10 <= empty / len(ALL_PARTS) <= 0.15
    assert 2 <= sum(row["sold"] == "no" for row in ALL_PARTS) <= 8
    assert {row["sold"] for row in ALL_PARTS} <= {"", "yes", "no"}


# --- Money ----------------------------------------------------------------------------------------------------------


def test_a_cost_leaves_the_shop_a_credible_margin() -> None:
    # Common practice of the trade, no source: a part costs the shop 60 to 75 % of its price without VAT, give or take a
    # point. VAT in Ireland, standard rate 23 % since 1 March 2021: Revenue, historical rates.
    share = {row["sku"]: float(row["cost"]) / (float(row["price"]) / 1.23) for row in ALL_PARTS}
    assert {sku: part for sku, part in share.items() if not 0.59 <= part <= 0.76} == {}


def test_a_whole_kit_costs_what_kits_cost() -> None:
    # Common practice of the trade, no source: about 5,000 to 9,500 euro for six new parts before any discount.
    prices = [[float(row["price"]) for row in PARTS[name]] for name in CORE_SLOTS.values()]
    assert 4000 <= sum(map(min, prices)) <= 5500
    assert 6000 <= sum(map(median, prices)) <= 8000
    assert 8500 <= sum(map(max, prices)) <= 10000


def test_between_eight_and_twelve_parts_are_marked_down() -> None:
    assert 8 <= len(MARKED_DOWN) <= 12
    assert all(bool(row["markdown_price"]) == bool(row["markdown_from"]) for row in ALL_PARTS)


def test_a_price_history_names_known_parts_in_order_and_ends_at_todays_price() -> None:
    assert set(HISTORY) <= set(BY_SKU)
    for sku, prices in HISTORY.items():
        days = [since.day for since in prices]
        assert days == sorted(set(days)), sku
        assert days[0] >= date(2026, 3, 1), sku
        assert all(before.price != after.price for before, after in pairwise(prices)), sku
        assert prices[-1].price == Decimal(BY_SKU[sku]["price"]), sku
    assert len(set(HISTORY) - set(ids_of(MARKED_DOWN))) >= 8


def lowest_before(sku: str, first_day: date) -> Decimal:
    """The lowest price in force on any of the 30 days before the first day of a reduction."""
    window_opens = first_day - timedelta(days=30)
    prices = HISTORY[sku]
    in_force_at_the_opening = [since for since in prices if since.day <= window_opens][-1]
    changed_since = [since for since in prices if window_opens < since.day < first_day]
    return min(since.price for since in (in_force_at_the_opening, *changed_since))


@pytest.mark.parametrize("part", MARKED_DOWN, ids=ids_of(MARKED_DOWN))
def test_a_marked_down_part_is_cheaper_than_at_any_time_in_the_30_days_before(part: Row) -> None:
    # Directive 98/6/EC, Article 6a: the prior price is the lowest of the 30 days before the reduction.
    first_day = date.fromisoformat(part["markdown_from"])
    assert date(2026, 9, 1) <= first_day <= date(2026, 11, 20)
    assert Decimal(part["markdown_price"]) < lowest_before(part["sku"], first_day) <= Decimal(part["price"])


def test_for_some_marked_down_part_the_lowest_earlier_price_is_below_the_list_price() -> None:
    # Directive 98/6/EC, Article 6a: without such a part nothing would show whether the rule is kept.
    lower = [
        row["sku"]
        for row in MARKED_DOWN
        if lowest_before(row["sku"], date.fromisoformat(row["markdown_from"])) < Decimal(row["price"])
    ]
    assert lower


def test_one_markdown_is_worth_exactly_the_whole_kits_discount_and_others_more_or_less() -> None:
    kit_percent = max(tier["percent"] for tier in POLICY["tiers"])
    of_core_parts = [row for row in MARKED_DOWN if row not in PARTS["extras"]]
    in_the_kit = [Decimal(row["price"]) * (100 - kit_percent) / 100 for row in of_core_parts]
    gaps = [Decimal(row["markdown_price"]) - kit for row, kit in zip(of_core_parts, in_the_kit, strict=True)]
    assert any(gap == 0 for gap in gaps)
    assert any(gap < 0 for gap in gaps)
    assert any(gap > 0 for gap in gaps)


# --- Places, lessons, delivery, rules -------------------------------------------------------------------------------


@pytest.mark.parametrize("spot", SPOTS, ids=[spot["name"] for spot in SPOTS])
def test_a_spots_wind_is_that_of_a_west_coast(spot: Row) -> None:
    mean_kn = [float(spot[f"mean_{month}"]) for month in MONTHS]
    # Long-term station means in Ireland run from 9 to 15 kn: Met Éireann summary, 1991-2020.
    assert 9 <= fmean(mean_kn) <= 15
    winter, summer = (mean_kn[11], *mean_kn[:2]), mean_kn[5:8]
    # Common knowledge, no source: the winters are windier.
    assert min(winter) > max(summer)
    # Weibull shapes near 2 are the usual assumption; the other bands are common practice of the trade, no source.
    assert 1.8 <= float(spot["k"]) <= 2.2
    assert 1.2 <= float(spot["gust_ratio"]) <= 1.5
    assert 0.4 <= float(spot["safe_share"]) <= 0.85


@pytest.mark.parametrize("spot", SPOTS, ids=[spot["name"] for spot in SPOTS])
def test_a_spots_water_is_coldest_in_late_winter_and_warmest_in_late_summer(spot: Row) -> None:
    water_c = [float(spot[f"water_c_{month}"]) for month in MONTHS]
    # Common knowledge of the region, no source: the sea between 8 and 17 degrees, a lake colder in winter.
    coldest, warmest = {"sea": (8, 17), "lake": (4, 19)}[spot["water"]]
    assert coldest <= min(water_c)
    assert max(water_c) <= warmest
    assert water_c.index(min(water_c)) in (1, 2)
    assert water_c.index(max(water_c)) in (6, 7)


def test_there_are_four_spots_the_home_spot_first_one_a_lake_and_one_shallow() -> None:
    shop = POLICY["shop"]
    names = [spot["name"] for spot in SPOTS]
    assert len(names) == len(set(names)) == 4
    assert names[0] == shop["place"]
    assert Counter(spot["water"] for spot in SPOTS) == {"sea": 3, "lake": 1}
    assert min(float(spot["min_depth_m"]) for spot in SPOTS) < 1.5


def test_lessons_and_zones_are_those_the_policy_names() -> None:
    lessons = {row["kind"]: row for row in rows_of("lessons")}
    assert set(lessons) == {"private", "group", "tow"}
    assert {tier["lessons"]["kind"] for tier in POLICY["tiers"] if "lessons" in tier} <= set(lessons)
    assert int(lessons["group"]["places"]) > int(lessons["private"]["places"]) == 1
    assert all(Decimal(row["cost"]) < Decimal(row["fee"]) for row in lessons.values())
    zones = [row["zone"] for row in rows_of("delivery")]
    assert len(zones) == len(set(zones)) >= 3
    assert POLICY["shop"]["home_zone"] in zones


def test_the_policy_names_only_slots_there_are() -> None:
    core = set(CORE_SLOTS)
    assert set(POLICY["fit"]["weights"]) == set(POLICY["trade_in"]["yearly_loss"]) == core
    assert set(POLICY["ordering"]["end_of_season_value"]) == core | {"extras"}
    for tier in POLICY["tiers"]:
        assert set(tier["slots"]) <= core
        assert set(tier["extras"]) <= EXTRA_SLOTS
        assert tier["at_least"] <= len(tier["slots"])
