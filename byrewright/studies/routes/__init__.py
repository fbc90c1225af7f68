"""Routes: where each fluid goes in each mode, and what each wrong position does."""
