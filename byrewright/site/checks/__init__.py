"""Test sheets: what is to be tested at a plant, what was read, and what it means."""
