"""What a plant costs: the user's price list matched to the one count, labour, terms, totals.

No price is invented. What has none is listed, and the total says that it is not whole.
"""
