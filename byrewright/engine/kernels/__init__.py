"""Compiled laws: cows, liquids, heat and power, control, and the loop that steps them."""
