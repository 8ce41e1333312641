"""Serial numbers corrected after the handover, each with a reason."""

from __future__ import annotations

from dataclasses import replace

from server.domain.errors import InvalidInput
from server.domain.sales import Sale
from server.domain.serials import NONE_ON_IT, NOT_WRITTEN, faults_of_serial, said_to_have_none
from server.persistence.sales import save_item, serials_out
from server.persistence.stock import lock_parts
from server.usecases.sales import check_key, locked_sale, mark, read_sale
from server.usecases.work import Work


def correct_serial(work: Work, number: int, item_number: int, serial: str, has_none: bool, why: str, key: str) -> Sale:
    """Write down another serial number of an item, or that it has none, with the reason; once for each form. The sale with it.

    Raises `NotFound`, and `InvalidInput` with every fault: the same number on another one of the same SKU among them.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    serial, why = " ".join(serial.split()), " ".join(why.split())
    item = sale.item(item_number)
    others: list[str] = []
    if item is not None:
        lock_parts(work.session, [item.sku])
        others = serials_out(work.session, item.sku, beside=(sale.id, item.number))
    faults = faults_of_serial(item, serial, has_none, why, others)
    if item is None or faults:
        raise InvalidInput(faults)
    was = item.serial or (NONE_ON_IT if item.number in said_to_have_none(sale.marks) else NOT_WRITTEN)
    save_item(work.session, sale.id, replace(item, serial=serial))
    about = {
        "item": item.number,
        "was": item.serial,
        "serial": serial,
        "has_none": has_none,
        "said": f"{item.label}, {serial or NONE_ON_IT} instead of {was}",
    }
    mark(work, sale.id, "serial", key, why, about)
    work.note_deed(f"corrected a serial number of sale {sale.id}, item {item.number}")
    work.commit()
    return read_sale(work, number)
