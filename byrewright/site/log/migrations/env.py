"""Run by Alembic: the steps happen in the caller's own transaction, all or nothing."""

from alembic import context

from byrewright.site.log.schema import META, VERSION_TABLE

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=META,
    version_table=VERSION_TABLE,
)
with context.begin_transaction():
    context.run_migrations()
