"""Reading a catalogue folder: what is right is read whatever its spelling, what is wrong is named by file, row and column."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from stdnum import ean

from server.domain.catalogue import Catalogue
from server.domain.errors import FileFault
from server.domain.prices import PricePoint
from server.persistence.folder import Folder, read_folder, read_part
from server.persistence.folder_out import cells_of
from server.usecases.work import Shop
from tests.builders_shop import FolderCopy

Place = tuple[str, int | None, str]
Change = Callable[[FolderCopy], None]

COLUMNS = {
    "boards.csv": (
        "sku name maker gtin price cost on_hand mass_kg volume_l length_cm width_cm thickness_cm bottom track "
        "construction? rider_max_kg? markdown_price? markdown_from? sold?"
    ),
    "masts.csv": (
        "sku name maker gtin price cost on_hand mass_kg length_cm track mount markdown_price? markdown_from? sold?"
    ),
    "fuselages.csv": "sku name maker gtin price cost on_hand mass_kg length_cm mount markdown_price? markdown_from? sold?",
    "front_foils.csv": (
        "sku name maker gtin price cost on_hand mass_kg area_cm2 span_cm aspect_ratio mount "
        "markdown_price? markdown_from? sold?"
    ),
    "tails.csv": (
        "sku name maker gtin price cost on_hand mass_kg area_cm2 span_cm mount cut_to_cm2? "
        "markdown_price? markdown_from? sold?"
    ),
    "hand_wings.csv": (
        "sku name maker gtin price cost on_hand mass_kg area_m2 span_cm handles markdown_price? markdown_from? sold?"
    ),
    "extras.csv": (
        "sku name maker gtin price cost on_hand mass_kg slot size? mass_from_kg? mass_to_kg? "
        "markdown_price? markdown_from? sold?"
    ),
    "price_history.csv": "sku from price",
    "spots.csv": (
        "name water min_depth_m? gust_ratio safe_share safe_from_deg? safe_to_deg? "
        + " ".join(f"mean_{month:02d}" for month in range(1, 13))
        + " k? "
        + " ".join(f"water_c_{month:02d}?" for month in range(1, 13))
    ),
    "lessons.csv": "kind title fee cost minutes places",
    "delivery.csv": "zone fee cost days",
}
"""The columns of each file as seed_catalogue/README.md lists them; a question mark: may be blank."""
PART_FILES = [file for file, columns in COLUMNS.items() if columns.startswith("sku name")]


def columns_of(file: str, *, needed: bool = False) -> list[str]:
    """The columns of a file, or only those that may not be blank."""
    return [name.rstrip("?") for name in COLUMNS[file].split() if not (needed and name.endswith("?"))]


def read(folder: FolderCopy) -> Folder:
    """The folder as it is read where nothing is in force yet."""
    return read_folder(folder.path, Catalogue({}), None)


def places(faults: list[FileFault]) -> list[Place]:
    """Where the faults stand."""
    return [(fault.file, fault.row, fault.column) for fault in faults]


def cell(file: str, column: str, text: str, row: int = 2) -> tuple[Change, Place]:
    """A cell of another text, and the fault expected there."""
    return lambda folder: folder.set(file, row, column, text), (file, row, column)


def twice(file: str, column: str) -> tuple[Change, Place]:
    """A second row with the first one's entry in a column that must be different in each row."""
    return lambda folder: folder.set(file, 3, column, folder.get(file, 2, column)), (file, 3, column)


def same_in(file: str, column: str) -> tuple[Change, Place]:
    """A part of another file with the SKU or GTIN of the first board."""
    return lambda folder: folder.set(file, 2, column, folder.get("boards.csv", 2, column)), (file, 2, column)


def policy(old: str, new: str, key: str) -> tuple[Change, Place]:
    """Another line in the policy, and the fault expected under its key."""
    return lambda folder: folder.swap("policy.toml", old, new), ("policy.toml", None, key)


def whole(file: str, content: str | bytes) -> tuple[Change, Place]:
    """A file of another content, and the fault expected of it as a whole."""
    return lambda folder: folder.put(file, content), (file, None, "")


def add_to_header(file: str, name: str) -> tuple[Change, Place]:
    """One more column, blank in every row."""

    def change(folder: FolderCopy) -> None:
        rows = folder.rows(file)
        folder.write(file, [[*row, name if place == 0 else ""] for place, row in enumerate(rows)])

    return change, (file, 1, name)


def longer_row(file: str, row: int) -> tuple[Change, Place]:
    """A row with one cell too many."""

    def change(folder: FolderCopy) -> None:
        rows = folder.rows(file)
        rows[row - 1].append("more")
        folder.write(file, rows)

    return change, (file, row, "")


def shorter_row(file: str, row: int, column: str) -> tuple[Change, Place]:
    """A row that ends before a column that it needs."""

    def change(folder: FolderCopy) -> None:
        rows = folder.rows(file)
        rows[row - 1] = rows[row - 1][: rows[0].index(column)]
        folder.write(file, rows)

    return change, (file, row, column)


def bad_byte(folder: FolderCopy) -> None:
    folder.put("boards.csv", folder.text("boards.csv").replace("Mudflat", "Schlickwatt", 1).encode() + b"\x81\n")


ONE_FAULT: dict[str, tuple[Change, Place]] = {
    # --- what each kind of cell accepts
    "a SKU with a space": cell("boards.csv", "sku", "DUN 72"),
    "a SKU of 41 characters": cell("boards.csv", "sku", "X" * 41),
    "a name of 201 characters": cell("boards.csv", "name", "x" * 201),
    "a name with a NUL in it": cell("boards.csv", "name", "Mud\0flat"),
    "a name over two lines": cell("boards.csv", "name", "Mud\nflat"),
    "a GTIN with a wrong check digit": cell("masts.csv", "gtin", "2110041000378"),
    "a GTIN with two digits exchanged": cell("masts.csv", "gtin", "2110014000377"),
    "a GTIN with a letter": cell("masts.csv", "gtin", "211004100037X"),
    "a GTIN of eleven digits": cell("masts.csv", "gtin", "21100410003"),
    "a GTIN of other digits than 0 to 9": cell("masts.csv", "gtin", "٢١١٠٠٤١٠٠٠٣٧٧"),
    "a price of nothing": cell("tails.csv", "price", "0.00"),
    "a price over the most": cell("tails.csv", "price", "100000.01"),
    "a price with a comma for thousands": cell("tails.csv", "price", "1,249.00"),
    "a price with a decimal comma": cell("tails.csv", "price", "439,00"),
    "a price of three decimals": cell("tails.csv", "price", "439.005"),
    "a price with its currency": cell("tails.csv", "price", "€439.00"),
    "a price below zero": cell("tails.csv", "price", "-439.00"),
    "a price in powers of ten": cell("tails.csv", "price", "4e2"),
    "a price that is not a number": cell("tails.csv", "price", "nan"),
    "a cost of nothing": cell("tails.csv", "cost", "0"),
    "pieces below zero": cell("fuselages.csv", "on_hand", "-1"),
    "half a piece": cell("fuselages.csv", "on_hand", "1.5"),
    "pieces in words": cell("fuselages.csv", "on_hand", "three"),
    "a mass with its unit": cell("boards.csv", "mass_kg", "5.66 kg"),
    "a mass that is not finite": cell("boards.csv", "mass_kg", "inf"),
    "a bottom of another word": cell("boards.csv", "bottom", "round"),
    "a track left blank": cell("masts.csv", "track", ""),
    "a mount left blank": cell("front_foils.csv", "mount", "  "),
    "handles left blank": cell("hand_wings.csv", "handles", ""),
    "an extra of no slot we know": cell("extras.csv", "slot", "paddle"),
    "an extra that is a board": cell("extras.csv", "slot", "board"),
    "an extra for masses that run backwards": cell("extras.csv", "mass_to_kg", "34", row=4),
    "a markdown at the price": cell("boards.csv", "markdown_price", "2699.00", row=8),
    "a markdown above the price": cell("boards.csv", "markdown_price", "2700.00", row=8),
    "a markdown of nothing": cell("boards.csv", "markdown_price", "0.00", row=8),
    "a day of a markdown without its price": cell("boards.csv", "markdown_from", "2026-11-01"),
    "a day that is not in the calendar": cell("boards.csv", "markdown_from", "2026-02-30", row=8),
    "a day written the other way round": cell("boards.csv", "markdown_from", "01/10/2026", row=8),
    "a day without hyphens": cell("boards.csv", "markdown_from", "20261001", row=8),
    "a day that no day comes before": cell("boards.csv", "markdown_from", "0001-01-01", row=8),
    "a day that no day comes after": cell("boards.csv", "markdown_from", "9999-12-31", row=8),
    "sold perhaps": cell("boards.csv", "sold", "perhaps"),
    "sold in capitals": cell("boards.csv", "sold", "Yes"),
    # --- what must stand there once
    "a SKU twice in a file": twice("boards.csv", "sku"),
    "a GTIN twice in a file": twice("boards.csv", "gtin"),
    "a SKU in two files": same_in("extras.csv", "sku"),
    "a GTIN in two files": same_in("hand_wings.csv", "gtin"),
    "a spot twice": twice("spots.csv", "name"),
    "a kind of lesson twice": twice("lessons.csv", "kind"),
    "a zone twice": twice("delivery.csv", "zone"),
    "two earlier prices from one day": cell("price_history.csv", "from", "2026-03-16", row=5),
    # --- the other files
    "an earlier price from no day": cell("price_history.csv", "from", "spring"),
    "an earlier price of nothing": cell("price_history.csv", "price", "0"),
    "a spot in a river": cell("spots.csv", "water", "river"),
    "a lesson of no minutes": cell("lessons.csv", "minutes", "0"),
    "a lesson for two in words": cell("lessons.csv", "places", "two"),
    "a lesson of no fee": cell("lessons.csv", "fee", ""),
    "a delivery below nothing": cell("delivery.csv", "fee", "-1.00"),
    "a delivery of no days": cell("delivery.csv", "days", ""),
    # --- the files themselves
    "a file that is not there": (lambda folder: folder.remove("tails.csv"), ("tails.csv", None, "")),
    "an empty file": whole("tails.csv", ""),
    "a file that is not UTF-8": (bad_byte, ("boards.csv", None, "")),
    "a file in UTF-16": whole("lessons.csv", "kind,title,fee,cost,minutes,places\n".encode("utf-16")),
    "a quote that is never closed": (
        lambda folder: folder.swap("delivery.csv", "Northern Ireland", '"Northern Ireland'),
        ("delivery.csv", 5, ""),
    ),
    "text after a closed quote": (
        lambda folder: folder.swap("delivery.csv", "Northern Ireland", '"Northern" Ireland'),
        ("delivery.csv", 4, ""),
    ),
    "a column nobody knows": add_to_header("boards.csv", "colour"),
    "a column of no name": add_to_header("boards.csv", ""),
    "a column that stands there twice": add_to_header("boards.csv", "sold"),
    "a column in capitals": add_to_header("boards.csv", "SOLD"),
    "a row with a cell too many": longer_row("boards.csv", 4),
    "a row that ends too early": shorter_row("boards.csv", 4, "track"),
    # --- the policy
    "a policy that is not TOML": whole("policy.toml", "[shop\nname = 1"),
    "a policy that is not UTF-8": whole("policy.toml", b"[shop]\nname = 'S\xf8'\n"),
    "a key nobody knows": policy("worn_kg = 5.0", "worn_lb = 11", "fit.worn_lb"),
    "a table nobody knows": policy("[deposit]", "[weather]\nrain = true\n\n[deposit]", "weather"),
    "worn kilograms below zero": policy("worn_kg = 5.0", "worn_kg = -1", "fit.worn_kg"),
    "a share that is no number": policy("handling = 0.15", "handling = nan", "trade_in.handling"),
    "a percentage in words": policy("percent = 22", 'percent = "22"', "tiers[1].percent"),
    "a number that is not whole": policy("price_good_days = 14", "price_good_days = 14.5", "quotes.price_good_days"),
    "a time zone of no place": policy('"Europe/Dublin"', '"Europe/Nowhere"', "shop.time_zone"),
    "a tier of a slot nobody knows": policy('["mast", "fuselage"', '["keel", "fuselage"', "tiers[3].slots"),
    "a tier of lessons nobody gives": policy(
        'kind = "private", number = 3', 'kind = "yoga", number = 3', "tiers[1].lessons"
    ),
    "a home zone that nobody delivers to": policy('home_zone = "Ireland"', 'home_zone = "Narnia"', "shop.home_zone"),
}


@pytest.mark.parametrize("name", ONE_FAULT)
def test_a_fault_is_named_by_file_row_and_column(folder: FolderCopy, name: str) -> None:
    change, place = ONE_FAULT[name]
    change(folder)
    found = read(folder)
    assert set(places(found.faults)) == {place}
    for fault in found.faults:
        assert fault.message
        assert fault.accepted


def test_a_file_in_windows_1252_is_read_and_the_owner_told(folder: FolderCopy) -> None:
    text = folder.text("boards.csv").replace("Mudflat 72", "Vågbräda 72")
    folder.put("boards.csv", text.encode("cp1252"))
    found = read(folder)
    assert not found.faults
    assert found.parts["DUN-72"].name == "Vågbräda 72"
    assert places(found.warnings) == [("boards.csv", None, "")]


@pytest.mark.parametrize("sign", [";", "\t"])
def test_semicolons_and_tabs_separate_as_well_and_let_a_comma_be_decimal(folder: FolderCopy, sign: str) -> None:
    before = read(folder)
    rows = folder.rows("boards.csv")
    price = rows[0].index("price")
    text = "\n".join(
        sign.join(cell.replace(".", ",") if place == price else cell for place, cell in enumerate(row)) for row in rows
    )
    folder.put("boards.csv", text)
    found = read(folder)
    assert not found.faults
    assert found.parts == before.parts


def test_the_seed_as_it_is_has_neither_fault_nor_warning(folder: FolderCopy) -> None:
    found = read(folder)
    assert (found.faults, found.warnings) == ([], [])


def test_the_folder_itself_must_be_there(tmp_path: Path) -> None:
    missing = tmp_path / "nothing here"
    assert places(read_folder(missing, Catalogue({}), None).faults) == [(str(missing), None, "")]
    missing.write_text("a file")
    assert places(read_folder(missing, Catalogue({}), None).faults) == [(str(missing), None, "")]


LIMITS = {
    ("boards.csv", "volume_l"): ("20", "300", "19.9", "300.1"),
    ("boards.csv", "length_cm"): ("20", "600", "19.9", "600.1"),
    ("boards.csv", "width_cm"): ("20", "600", "0.665", "665"),
    ("boards.csv", "thickness_cm"): ("3", "40", "2.9", "40.1"),
    ("boards.csv", "mass_kg"): ("0.1", "40", "0.09", "5660"),
    ("boards.csv", "rider_max_kg"): ("20", "300", "19", "301"),
    ("boards.csv", "price"): ("0.01", "100000.00", "0.00", "100000.01"),
    ("boards.csv", "cost"): ("0.01", "100000", "0", "999999.99"),
    ("boards.csv", "on_hand"): ("0", "1000", "-1", "0.5"),
    ("masts.csv", "length_cm"): ("20", "600", "0.72", "720"),
    ("fuselages.csv", "length_cm"): ("20", "600", "0.7", "700"),
    ("front_foils.csv", "area_cm2"): ("50", "5000", "0.16", "160000"),
    ("front_foils.csv", "span_cm"): ("20", "600", "0.9", "900"),
    ("front_foils.csv", "aspect_ratio"): ("1", "25", "0.9", "25.1"),
    ("tails.csv", "area_cm2"): ("50", "5000", "49.9", "5000.1"),
    ("tails.csv", "cut_to_cm2"): ("50", "5000", "2.4", "24000"),
    ("hand_wings.csv", "area_m2"): ("1", "12", "0.99", "50000"),
    ("hand_wings.csv", "span_cm"): ("20", "600", "3", "3000"),
    ("extras.csv", "mass_from_kg"): ("0", "300", "-1", "301"),
    ("spots.csv", "min_depth_m"): ("0", "50", "-0.1", "1600"),
    ("spots.csv", "gust_ratio"): ("1", "3", "0.9", "3.1"),
    ("spots.csv", "safe_share"): ("0", "1", "-0.1", "62"),
    ("spots.csv", "safe_from_deg"): ("0", "360", "-1", "361"),
    ("spots.csv", "safe_to_deg"): ("0", "360", "-1", "361"),
    ("spots.csv", "mean_07"): ("1", "40", "0.9", "41"),
    ("spots.csv", "k"): ("1", "4", "0.9", "4.1"),
    ("spots.csv", "water_c_01"): ("-2", "35", "-2.1", "49"),
    ("lessons.csv", "fee"): ("0.01", "100000.00", "-1", "100000.01"),
    ("lessons.csv", "minutes"): ("15", "480", "0", "1.5"),
    ("lessons.csv", "places"): ("1", "20", "0", "101"),
    ("delivery.csv", "fee"): ("0.00", "100000.00", "-0.01", "100000.01"),
    ("delivery.csv", "cost"): ("0", "100000", "-24.00", "100001"),
}
"""For each column the least and the most that is accepted, and two slips that are not."""


@pytest.mark.parametrize(("file", "column"), LIMITS)
def test_ranges_take_their_ends_and_nothing_beyond(folder: FolderCopy, file: str, column: str) -> None:
    least, most, *slips = LIMITS[file, column]
    for text in (least, most):
        folder.set(file, 2, column, text)
        assert read(folder).faults == []
    for text in slips:
        folder.set(file, 2, column, text)
        assert places(read(folder).faults) == [(file, 2, column)]


@pytest.mark.parametrize("file", COLUMNS)
def test_every_cell_of_a_row_is_checked_and_all_faults_come_back_together(folder: FolderCopy, file: str) -> None:
    columns = columns_of(file)
    assert folder.rows(file)[0] == columns
    for column in columns:
        folder.set(file, 2, column, "\x7f")
    assert set(places(read(folder).faults)) == {(file, 2, column) for column in columns}


@pytest.mark.parametrize("file", COLUMNS)
def test_only_what_may_be_blank_may_be_blank(folder: FolderCopy, file: str) -> None:
    last = len(folder.rows(file))
    for column in columns_of(file):
        folder.set(file, last, column, "")
    assert read(folder).faults == [], "a row of blank cells is no row"
    key, *others = columns_of(file, needed=True)
    folder.set(file, last, key, "X-1")
    assert set(places(read(folder).faults)) == {(file, last, column) for column in others}


@pytest.mark.parametrize("file", COLUMNS)
def test_a_column_may_be_left_out_where_it_may_be_blank_and_only_there(folder: FolderCopy, file: str) -> None:
    for column in columns_of(file):
        if column not in columns_of(file, needed=True):
            folder.drop_column(file, column)
    assert read(folder).faults == []
    left = columns_of(file, needed=True)
    for column in left:
        folder.drop_column(file, column)
    folder.put(file, ",".join(left[:1]) + "\n")
    assert set(places(read(folder).faults)) == {(file, 1, column) for column in left[1:]}


def test_a_file_without_its_header_is_told_what_is_missing_and_what_is_too_much(folder: FolderCopy) -> None:
    folder.put("lessons.csv", "private,Private lesson,115.00\n")
    wrong = {"private", "Private lesson", "115.00", *columns_of("lessons.csv")}
    assert set(places(read(folder).faults)) == {("lessons.csv", 1, name) for name in wrong}


def test_faults_of_several_files_come_back_together(folder: FolderCopy) -> None:
    chosen = ["a price of nothing", "a SKU with a space", "a spot in a river", "a key nobody knows", "sold perhaps"]
    for name in chosen:
        ONE_FAULT[name][0](folder)
    assert set(places(read(folder).faults)) == {ONE_FAULT[name][1] for name in chosen}


def test_a_fault_says_in_one_line_where_it_is_what_is_wrong_and_what_is_accepted(folder: FolderCopy) -> None:
    folder.set("boards.csv", 2, "volume_l", "7200")
    [fault] = read(folder).faults
    line = str(fault)
    assert (
        line
        == "boards.csv, row 2, column volume_l: DUN-72 Mudflat 72: '7200' is not accepted. Accepted: a number from 20 to 300."
    )


def test_numbers_in_faults_are_those_of_a_spreadsheet(folder: FolderCopy) -> None:
    rows = folder.rows("boards.csv")
    rows[1][1] = "Mudflat\n72"
    rows[3][rows[0].index("volume_l")] = "x"
    lines = [rows[0], rows[1], [], ["", " "], *rows[2:]]
    folder.write("boards.csv", lines)
    assert places(read(folder).faults) == [("boards.csv", 2, "name"), ("boards.csv", 6, "volume_l")]


def test_check_digits_are_those_of_gs1(folder: FolderCopy) -> None:
    # python-stdnum 2.2, stdnum.ean: the check digit of EAN-8, EAN-13 and GTIN-14 alike.
    choice = random.Random(20261125)
    numbers = ["".join(choice.choices("0123456789", k=length)) for length in (7, 11, 12, 13) for _ in range(8)]
    rows = folder.rows("extras.csv")
    pattern = rows[1]
    lines = [
        [f"X-{place}-{digit}", *pattern[1:3], f"{number}{digit}", *pattern[4:]]
        for place, number in enumerate(numbers)
        for digit in range(10)
    ]
    folder.write("extras.csv", [rows[0], *lines])
    wrong = {row for file, row, column in places(read(folder).faults) if (file, column) == ("extras.csv", "gtin")}
    right = [lines[row - 2][3] for row in range(2, len(lines) + 2) if row not in wrong]
    assert right == [number + ean.calc_check_digit(number) for number in numbers]


def test_a_gtin_of_any_prefix_loads(folder: FolderCopy) -> None:
    for row, prefix in enumerate(("978030640615", "000000000000", "500015940745", "999999999999"), start=2):
        folder.set("masts.csv", row, "gtin", prefix + ean.calc_check_digit(prefix))
    assert read(folder).faults == []


# --- what is the same folder, otherwise spelled


def with_bom(folder: FolderCopy) -> None:
    for file in [*COLUMNS, "policy.toml"]:
        folder.put(file, b"\xef\xbb\xbf" + folder.text(file).encode())


def with_crlf(folder: FolderCopy) -> None:
    for file in [*COLUMNS, "policy.toml"]:
        folder.put(file, folder.text(file).replace("\r\n", "\n").replace("\n", "\r\n"))


def with_lf(folder: FolderCopy) -> None:
    for file in COLUMNS:
        folder.put(file, folder.text(file).replace("\r\n", "\n"))


def with_no_last_line_end(folder: FolderCopy) -> None:
    for file in COLUMNS:
        folder.put(file, folder.text(file).rstrip())


def with_blank_lines(folder: FolderCopy) -> None:
    for file in COLUMNS:
        head, *rest = folder.text(file).splitlines()
        folder.put(file, "\n".join([head, "", *rest, "", "  ", "," * head.count(","), ""]))


def with_columns_backwards(folder: FolderCopy) -> None:
    for file in COLUMNS:
        folder.write(file, [row[::-1] for row in folder.rows(file)])


def with_every_cell_quoted(folder: FolderCopy) -> None:
    for file in COLUMNS:
        lines = (",".join('"' + text.replace('"', '""') + '"' for text in row) for row in folder.rows(file))
        folder.put(file, "\n".join(lines))


def with_spaces_around_cells(folder: FolderCopy) -> None:
    for file in COLUMNS:
        folder.write(file, [[f" {text} " for text in row] for row in folder.rows(file)])


def with_other_files_beside(folder: FolderCopy) -> None:
    folder.put("notes.txt", b"\xff\x00")
    (folder.path / "photos").mkdir()


SPELLINGS = [
    with_bom,
    with_crlf,
    with_lf,
    with_no_last_line_end,
    with_blank_lines,
    with_columns_backwards,
    with_every_cell_quoted,
    with_spaces_around_cells,
    with_other_files_beside,
]


@pytest.mark.parametrize("spelled", SPELLINGS, ids=lambda change: change.__name__.replace("_", " "))
def test_another_spelling_is_the_same_catalogue(folder: FolderCopy, spelled: Change) -> None:
    plain = read(folder)
    spelled(folder)
    assert read(folder) == plain


def test_text_with_a_comma_stands_in_quotes(folder: FolderCopy) -> None:
    folder.set("boards.csv", 2, "name", 'Mudflat, "wide" 72')
    assert '"Mudflat, ""wide"" 72"' in folder.text("boards.csv")
    assert read(folder).parts["DUN-72"].name == 'Mudflat, "wide" 72'


def test_names_may_have_letters_of_any_language(folder: FolderCopy) -> None:
    folder.set("boards.csv", 2, "name", "Tráigh Øst 波")
    assert read(folder).parts["DUN-72"].name == "Tráigh Øst 波"


# --- what is passed over or stays


def test_an_earlier_price_of_an_unknown_part_is_a_warning_and_the_row_is_passed_over(folder: FolderCopy) -> None:
    folder.set("price_history.csv", 3, "sku", "NO-SUCH")
    found = read(folder)
    assert found.faults == []
    assert places(found.warnings) == [("price_history.csv", 3, "sku")]
    assert "NO-SUCH" in str(found.warnings[0])
    assert not any(point.sku == "NO-SUCH" for point in found.history)
    assert PricePoint("EEL-A145", date(2026, 3, 16), 152900) in found.history


@pytest.mark.parametrize("file", ["price_history.csv", "spots.csv", "lessons.csv", "delivery.csv", "policy.toml"])
def test_a_file_that_may_be_left_out_is_a_warning(folder: FolderCopy, shop: Shop, file: str) -> None:
    folder.remove(file)
    with shop.reading() as work:
        found = read_folder(folder.path, work.catalogue, {"fit": {"worn_kg": 6}})
        assert found.faults == []
        assert places(found.warnings) == [(file, None, "")]
        assert found.spots == list(work.catalogue.spots.values())
        assert found.lessons == list(work.catalogue.lessons.values())
        assert found.zones == list(work.catalogue.zones.values())
    assert (found.terms == {"fit": {"worn_kg": 6}}) == (file == "policy.toml")


def test_without_lessons_in_force_a_policy_that_names_them_is_at_fault(folder: FolderCopy) -> None:
    folder.remove("lessons.csv")
    assert set(places(read(folder).faults)) == {("policy.toml", None, f"tiers[{tier}].lessons") for tier in (1, 2)}


def test_a_part_that_is_not_sold_is_read_with_its_pieces(folder: FolderCopy) -> None:
    found = read(folder)
    assert not found.parts["GSK-M60T"].sold
    assert found.parts["GSK-M60T"].retired is False
    assert found.on_hand["GSK-M60T"] == 1


@pytest.mark.parametrize(
    ("key", "old", "new"),
    [
        ("shop.locale", 'locale = "en_IE"', 'locale = "xx_YY"'),
        ("shop.locale", 'locale = "en_IE"', 'locale = ""'),
        ("shop.currency", 'currency = "EUR"', 'currency = "EURO"'),
        (
            "shop.currency",
            'currency = "EUR"',
            'currency = "JPY"',
        ),  # ISO 4217: no minor unit, and all amounts here have cents.
    ],
)
def test_money_must_be_writable(folder: FolderCopy, key: str, old: str, new: str) -> None:
    folder.swap("policy.toml", old, new)
    assert places(read(folder).faults) == [("policy.toml", None, key)]


def test_a_reduced_price_without_a_day_is_taken_and_warned_of(folder: FolderCopy) -> None:
    row = folder.row_of("boards.csv", "DUN-140")
    folder.set("boards.csv", row, "markdown_from", "")
    found = read(folder)
    assert not found.faults
    assert places(found.warnings) == [("boards.csv", row, "markdown_from")]


def test_spare_parts_have_a_file_of_their_own_and_stay_where_it_is_not_there(folder: FolderCopy) -> None:
    found = read_folder(folder.path, Catalogue({}), None)
    vent = found.parts["WRK-SVENT"]
    assert (vent.slot, vent.gear.text("fits")) == ("spare", "Dunlin Boardworks; Eelgrass Boards")
    (folder.path / "spares.csv").unlink()
    without = read_folder(folder.path, Catalogue(found.parts), None)
    assert without.parts["WRK-SVENT"] == vent
    assert "WRK-SVENT" not in without.on_hand
    assert [warning.file for warning in without.warnings] == ["spares.csv"]


def test_a_part_is_read_from_a_form_as_from_its_file_and_keeps_its_gtin_to_itself(shop: Shop) -> None:
    with shop.reading() as work:
        listed = work.catalogue
    for part in listed.parts.values():
        again, faults = read_part(part.slot, cells_of(part, {}), listed)
        assert (again, faults) == (part, [])
    board, mast = listed.parts["DUN-72"], listed.parts["TUR-M90D"]
    _, faults = read_part("board", {**cells_of(board, {}), "gtin": mast.gtin, "length_cm": ""}, listed)
    assert [(fault.field, fault.message) for fault in faults] == [("length_cm", "This is blank.")]
    _, faults = read_part("board", {**cells_of(board, {}), "gtin": mast.gtin}, listed)
    assert [fault.field for fault in faults] == ["gtin"]
    _, faults = read_part("board", {**cells_of(mast, {}), **cells_of(board, {}), "sku": mast.sku}, listed)
    assert "sku" in [fault.field for fault in faults], "a mast does not become a board"
