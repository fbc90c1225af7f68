"""One module a page; each draws what the studies answered."""

from byrewright.web.pages import (
    brief,
    call,
    changes,
    day,
    edit,
    failures,
    history,
    interlocks,
    pack,
    place,
    plant,
    quote,
    readings,
    service,
    start,
    tests,
    watch,
)

PAGES = (
    start.register,
    plant.register,
    place.register,
    day.register,
    failures.register,
    interlocks.register,
    watch.register,
    history.register,
    edit.register,
    brief.register,
    pack.register,
    quote.register,
    changes.register,
    tests.register,
    readings.register,
    service.register,
    call.register,
)
"""Every page, in the order of the index. A later page is one more line."""
