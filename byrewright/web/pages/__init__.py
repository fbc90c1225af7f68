"""One module a page; each draws what the studies answered."""

from byrewright.web.pages import plant, start

PAGES = (start.register, plant.register)
"""Every page, in the order of the index. A later page is one more line."""
