"""Steps from each form of the tables to the next (Alembic)."""
