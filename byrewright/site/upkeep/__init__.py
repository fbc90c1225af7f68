"""When each machine's service is due, and the fewest visits that see to it in time."""
