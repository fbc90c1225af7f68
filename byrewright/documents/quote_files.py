"""A quotation as files: the customer's paper, the cost workbook, enquiries, orders, plain data."""

from __future__ import annotations

import json
from collections.abc import Sequence

from byrewright.documents.cost_workbook import cost_workbook, enquiries_xlsx, orders_page
from byrewright.documents.format import System
from byrewright.documents.quotation import quotation_pdf
from byrewright.documents.quote_units import quote_in, running_in
from byrewright.documents.schedule import workbook
from byrewright.plant.plant import Plant
from byrewright.quote.alternates import Difference
from byrewright.quote.quotation import Quote, plain
from byrewright.quote.running import Running

DATA = "quote.json"


def quote_files(
    plant: Plant, made: Quote, running: Running | None, others: Sequence[Difference],
    units: System = "metric", paper: str = "a4",
) -> dict[str, bytes]:  # fmt: skip
    """Every file of a quotation by its name."""
    others = tuple(others)
    told = quote_in(made, units)
    return {
        "quotation.pdf": quotation_pdf(plant, made, running, others, units, paper),
        "costs.xlsx": cost_workbook(told, running_in(running, units)),
        "enquiries.xlsx": enquiries_xlsx(told),
        "orders.xlsx": workbook("Orders", made.plant, [orders_page(told)]),
        DATA: quote_json(made, running, others).encode(),
    }


def quote_json(made: Quote, running: Running | None, others: Sequence[Difference]) -> str:
    """The quotation as JSON text."""
    data = made.to_dict()
    data["running"] = None if running is None else plain(running)
    data["alternates"] = [plain(one) for one in others]
    return json.dumps(data, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
