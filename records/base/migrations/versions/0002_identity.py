# ruff: noqa: INP001  found by its path, by Alembic
"""Give a base an identity, so that no other takes what was kept beside it."""

from uuid import uuid4

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make it at random; copies of a base share it."""
    column = sa.Column("identity", sa.String(36), nullable=False, server_default="")
    op.add_column("base_head", column)
    head = sa.table("base_head", sa.column("identity", sa.String))
    op.execute(head.update().values(identity=str(uuid4())))


def downgrade() -> None:
    """Take it away."""
    op.drop_column("base_head", "identity")
