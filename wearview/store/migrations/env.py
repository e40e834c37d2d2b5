"""What alembic runs to take steps on a connection that the caller has opened and will commit."""

from alembic import context

settings = context.config.attributes
context.configure(connection=settings["connection"], on_version_apply=settings["note"])
# No transaction is begun here: all steps and their notes are part of the caller's.
context.run_migrations()
