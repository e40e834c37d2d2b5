"""How a record came to its present schema: alembic's environment, and one file for each step."""
