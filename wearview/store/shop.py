"""What the shop has settled for all its teardowns."""

from sqlalchemy import Connection, select

from wearview.store.connect import Store, reading, writing
from wearview.store.names import now
from wearview.store.seal import add_row
from wearview.store.tables import shop_setting

_BLIND = "blind"


def shop_is_blind(store: Store) -> bool:
    """Whether a new teardown hides its grades until the verdict is in."""
    with reading(store) as connection:
        return blind_by_default(connection)


def set_shop_blind(store: Store, blind: bool) -> None:
    """Settle whether teardowns opened from now on hide their grades until the verdict is in."""
    with writing(store) as connection:
        values = {"name": _BLIND, "value": "yes" if blind else "no", "set_at": now()}
        add_row(connection, shop_setting, values)


def blind_by_default(connection: Connection) -> bool:
    """The setting that holds; grades are shown where the shop has settled nothing."""
    newest = (
        select(shop_setting.c.value)
        .where(shop_setting.c.name == _BLIND)
        .order_by(shop_setting.c.id.desc())
        .limit(1)
    )
    return connection.scalar(newest) == "yes"
