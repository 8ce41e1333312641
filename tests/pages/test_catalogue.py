"""The owner's list of parts over the front door: found by the address, changed in the row, on a page and many at once."""

from __future__ import annotations

from tests.builders_http import Client
from tests.pages.reader import Reader


def test_a(owner: Client) -> None:
    for a in ("/console/catalogue","/console/catalogue?slot=mast&flag=reduced&q=tur","/console/catalogue?changed=DUN-72&page=2","/console/part?sku=DUN-140","/console/part/new","/console/part/new?slot=board","/console/part/new?slot=pump","/console/part/new?slot=spare","/console/catalogue/bulk?slot=mast","/console/catalogue/bulk?slot=mast&change=price&by=percent&value=5&ending=90","/console/catalogue/bulk?slot=board&change=stock&kind=damage&pieces=1&why=x","/console/catalogue/bulk?slot=board&change=markdown&percent=20"):
        r = Reader(owner).open(a)
        print(a, r.status, len(r.text)); print(r.text[:900])
