"""Call-out: from what a caller sees to the next step, and the record of it."""
