"""A quote on paper and as a QR code: all that the page says stands in the PDF, and both codes lead back to the page."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import httpx
import pypdfium2
import pytest
import zxingcpp
from pypdf import PdfReader

from server.domain.quotes import Quote
from server.outside.qr import Squares
from server.persistence.folder import read_folder
from server.usecases.catalogue import replace_catalogue
from server.usecases.quotes import read_quote
from server.usecases.stock import confirm_hold
from server.usecases.work import Shop
from server.web.cautions import CAUTIONS
from server.web.drawings.side import WIDE, side_view
from tests.builders_http import ADDRESS, Client
from tests.builders_paper import fonts_of, opened, pictures_told, root_of, squeezed, text_in
from tests.builders_shop import STRONG, WING_OF_ONES_OWN, Clock, FolderCopy, learner
from tests.outside.test_qr import read
from tests.pages.reader import Reader, at_the_kit

SVG = "{http://www.w3.org/2000/svg}"
TRADE = {"slot": "board", "price_new": 110_000, "months": 18, "condition": "good"}
MANY = [{**TRADE, "months": 12 + months} for months in range(20)]
LEARNERS = {
    "plain": learner(),
    "practised": learner(**STRONG, foil_stage="turning", spot="Tullaveen Strand", wing_handling="practised"),
    "own hand wing": learner(keeps=[WING_OF_ONES_OWN], extras=["helmet"]),
    "stronger wind": learner(mass_kg=92.5, usual_wind_kn=30, keeps=[WING_OF_ONES_OWN]),
    "no swimmer": learner(swims_100m=False),
    "everything": learner(
        mass_kg=92.5,
        usual_wind_kn=30,
        swims_100m=False,
        min_depth_m=1.2,
        spot="Tullaveen Strand",
        extras=["helmet", "buoyancy_vest", "wetsuit", "travel_bag"],
        trades=MANY,
        keeps=[WING_OF_ONES_OWN],
    ),
}


def kept(client: Client, **given: object) -> str:
    """The path of a quote that was kept."""
    url: str = client.told("/api/quotes", {"answers": learner(**given)}, 201)["url"]
    return url.removeprefix(ADDRESS)


def paper(client: Client, path: str) -> PdfReader:
    """The PDF of a quote."""
    return opened(client.get(f"{path}/pdf").content)


def amount(cents: int) -> str:
    """An amount in euro as the shop writes it; own arithmetic."""
    return f"€{cents // 100:,}.{cents % 100:02d}"


def quote_at(shop: Shop, path: str) -> Quote:
    """The quote itself."""
    with shop.reading() as work:
        return read_quote(work, path.rsplit("/", 1)[1])


@pytest.mark.parametrize("who", LEARNERS)
def test_all_that_was_offered_stands_on_one_or_two_sheets_of_a4(client: Client, shop: Shop, who: str) -> None:
    path = kept(client, **LEARNERS[who])
    answer = client.get(f"{path}/pdf")
    assert answer.content.startswith(b"%PDF-")
    pdf, quote = opened(answer.content), quote_at(shop, path)
    assert 1 <= len(pdf.pages) <= 2
    for page in pdf.pages:  # A4 in points; ISO 216.
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((595.28, 841.89), abs=0.01)
    text = text_in(pdf)
    said = [
        f"{quote.code[:4]} {quote.code[4:]}",
        f"revision {quote.revision}",
        ADDRESS + path,
        amount(quote.kit.price.balance),
        "no letter O, I or L: round is zero, straight is one",
        "nothing is set aside until you agree",
        *CAUTIONS,
        *quote.notes,
        *quote.kit.notes,
        *quote.kit.price.notes,
    ]
    said += [words for part in quote.kit.parts.values() for words in (part.sku, part.name, part.maker)]
    said += [line.label for line in quote.kit.price.lines if not line.is_core]
    said += [amount(line.charged) for line in quote.kit.price.lines if line.charged]
    said += [f"VAT inside, {share.rate:f} %: {amount(share.vat)}." for share in quote.kit.price.vat]
    said += [trade.because for trade in quote.kit.price.trades]
    assert [words for words in said if squeezed(words) not in text] == []


def test_it_says_what_the_page_says(client: Client) -> None:
    reader = at_the_kit(client).press("Keep this quote")
    text = text_in(paper(client, reader.address))
    for element in reader.page.iter():
        if element.get("class") in ("part-size", "part-why", "lead"):
            assert squeezed("".join(element.itertext())) in text
    for line in reader.page.iter("div"):
        if [word.tag for word in line] == ["dt", "dd"]:
            assert squeezed("".join(line.itertext())) in text
    shop = "Two Herons Watersports Tullaveen Strand +353 20 910 0142 · hello@twoherons.example · Tuesday to Sunday"
    for words in ("Price good until 9 December 2026", "not a permission", "Sized for 80 kg", shop):
        assert squeezed(words) in text


def test_lines_parts_and_sum_add_up_on_paper(client: Client, shop: Shop) -> None:
    path = kept(client, extras=["helmet"], trades=[TRADE])
    price = quote_at(shop, path).kit.price
    text = text_in(paper(client, path))
    assert price.tier is not None
    bought = sum(line.charged for line in price.lines if line.is_core)
    rows = [
        bought + price.tier.discount,
        -price.tier.discount,
        *(line.charged for line in price.lines if not line.is_core),
        -price.trade_in,
    ]
    assert sum(rows) + price.delivery == price.balance
    for cents in filter(None, rows):
        assert ("−" if cents < 0 else "") + amount(abs(cents)) in text


def test_browsers_show_it_under_a_name_made_of_the_code_and_nobody_else_keeps_it(client: Client, shop: Shop) -> None:
    path = kept(client)
    answer = client.get(f"{path}/pdf")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == f'inline; filename="quote-{quote_at(shop, path).code}.pdf"'
    page = client.get(path)
    for name in (
        "x-robots-tag",
        "cache-control",
        "referrer-policy",
        "x-content-type-options",
        "content-security-policy",
    ):
        assert answer.headers[name] == page.headers[name]
    assert answer.headers["cache-control"] == "private, no-cache"
    assert answer.headers["x-robots-tag"] == "noindex, nofollow"


def test_it_is_accessible_and_carries_its_title_and_language(client: Client) -> None:
    pdf = paper(client, kept(client))
    root = root_of(pdf)
    assert root["marked"]
    assert root["language"] == "en"
    assert "pdfuaid:part" in root["metadata"]
    assert pdf.metadata is not None
    assert re.fullmatch(r"Quote \w{4} \w{4}, revision 1, Two Herons Watersports", pdf.metadata.title or "")
    assert "/EmbeddedFiles" not in root["names"]


def test_its_letters_are_typsts_own_on_any_machine(client: Client) -> None:
    fonts = fonts_of(paper(client, kept(client)))
    assert fonts
    assert all(font.startswith(("LibertinusSerif", "DejaVuSansMono")) for font in fonts)


def test_drawing_and_qr_code_are_told_in_words(client: Client, shop: Shop) -> None:
    path = kept(client)
    told = pictures_told(root_of(paper(client, path))["structure"])
    assert any(ADDRESS + path in words for words in told)
    assert any(side_view(quote_at(shop, path).kit, WIDE).words in words for words in told)


def test_the_qr_code_on_paper_leads_to_the_page(client: Client) -> None:
    path = kept(client)
    with pypdfium2.PdfDocument(client.get(f"{path}/pdf").content) as pdf:
        picture = pdf[0].render(scale=3).to_numpy()
    [found] = zxingcpp.read_barcodes(picture)
    assert found.text == ADDRESS + path


def test_the_qr_code_on_the_page_leads_to_it_and_is_told_in_words(client: Client) -> None:
    reader = Reader(client).open(kept(client))
    [code] = [element for element in reader.page.iter("img") if element.get("class") == "qr"]
    assert code.get("alt") == "QR code of the address of this page"
    answer = client.get(code.get("src", ""))
    assert (answer.status_code, answer.headers["content-type"]) == (200, "image/svg+xml; charset=utf-8")
    assert answer.headers["cache-control"] == "private, max-age=31536000, immutable"
    drawn = ElementTree.fromstring(answer.text)
    [path] = drawn.iter(f"{SVG}path")
    squares = Squares(int(drawn.get("viewBox", "").split()[2]), path.get("d", ""))
    assert read(squares).text == ADDRESS + reader.address
    assert client.get("/quotes/" + "x" * 32 + "/address.svg").status_code == 404


def test_the_page_leads_to_its_pdf_and_still_says_how_to_say_the_code(client: Client) -> None:
    reader = Reader(client).open(kept(client))
    [link] = [element for element in reader.page.iter("a") if element.text == "As a PDF"]
    assert client.get(link.get("href", "")).headers["content-type"] == "application/pdf"
    assert "There is no letter O, I or L in it: round is zero, straight is one." in reader.text


@pytest.mark.parametrize("token", ["x" * 32, "short", "HKBN04QA", "..", "%00"])
def test_where_there_is_no_quote_there_is_no_paper(client: Client, token: str) -> None:
    assert client.get(f"/quotes/{token}/pdf").status_code == 404


def agreed(client: Client, path: str, revision: int = 1) -> httpx.Response:
    """Agree to a quote."""
    contact = {"name": "Some One", "email": "one@example.org", "revision": revision}
    return client.post_json(f"/api{path}/agree", contact)


def test_how_things_stand_is_said_as_they_stand(client: Client, shop: Shop, clock: Clock) -> None:
    path = kept(client)
    assert agreed(client, path).status_code == 200
    asked = text_in(paper(client, path))
    assert (
        squeezed("they are set aside, not yet confirmed, until 25 November 2026, 14:00. Not yet a contract.") in asked
    )
    assert squeezed("nothing is set aside") not in asked
    with shop.writing("desk") as work:
        confirm_hold(work, path.rsplit("/", 1)[1])
    assert squeezed("we keep these parts for you until 2 December 2026, 12:00") in text_in(paper(client, path))
    clock.forward(days=20)
    lapsed = text_in(paper(client, path))
    assert squeezed("The price was good until 9 December 2026.") in lapsed
    assert squeezed("nothing is set aside") not in lapsed


def test_a_kit_that_needs_the_shop_says_so(client: Client) -> None:
    text = text_in(paper(client, kept(client, swims_100m=False)))
    assert squeezed("This kit cannot be agreed to without the shop: talk to us first.") in text


def test_a_further_revision_has_its_number_in_name_and_text_and_says_what_is_held(client: Client, shop: Shop) -> None:
    reader = at_the_kit(client).press("Keep this quote")
    path = reader.address
    assert agreed(client, path).status_code == 200
    reader.press("Change my answers").press("next", mass_kg="95").press("kit").press("Keep as the next revision")
    answer = client.get(f"{path}/pdf")
    assert answer.headers["content-disposition"].endswith('-revision-2.pdf"')
    text = text_in(opened(answer.content))
    assert squeezed("revision 2") in text
    assert squeezed("Until 25 November 2026, 14:00 the parts of revision 1 are set aside.") in text


def test_a_name_in_letters_that_no_font_has_is_no_reason_to_print_nothing(
    client: Client, shop: Shop, folder: FolderCopy
) -> None:
    folder.set_all("boards.csv", "name", lambda name: f"{name} 🪁")
    with shop.writing("owner") as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    path = kept(client)
    name = quote_at(shop, path).kit.parts["board"].name
    assert name.endswith(" 🪁")
    assert squeezed(name.removesuffix(" 🪁")) in text_in(paper(client, path))
