"""What an instrument wrote, turned into figures: pure functions over arrays of times and values.

They know nothing of plants, files or limits. Times are seconds, rising; missing values are NaN.
Every function works on what is there: it does not reach across a gap, and says how much it used.
"""
