"""One module a page; each draws what the studies answered."""

from byrewright.web.pages import brief, day, edit, interlocks, pack, plant, start

PAGES = (
    start.register,
    plant.register,
    day.register,
    interlocks.register,
    edit.register,
    brief.register,
    pack.register,
)
"""Every page, in the order of the index. A later page is one more line."""
