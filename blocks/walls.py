"""Migration operations that keep farm groups apart inside the database."""

from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState

STATED_GROUP = "nullif(current_setting('washboard.farm_group', true), '')::bigint"
STATED_PERSON = "nullif(current_setting('washboard.person', true), '')::bigint"


class _SqlOperation(Operation):
    """An operation that changes the database but not Django's model state."""

    reduces_to_sql = True
    reversible = True

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Leave the model state as it is."""

    def forwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        raise AssertionError("each operation writes its own SQL")

    def backwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        raise AssertionError("each operation writes its own SQL")

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,  # noqa: ARG002 - Django's signature
        to_state: ProjectState,
    ) -> None:
        for statement in self.forwards_sql(app_label, to_state):
            schema_editor.execute(statement)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,  # noqa: ARG002 - Django's signature
    ) -> None:
        for statement in self.backwards_sql(app_label, from_state):
            schema_editor.execute(statement)


class GuardRows(_SqlOperation):
    """Switch row-level security on for a model's table, for its owner too.

    `using` is the condition a row must meet to be seen or written; by default that
    its farm group is the stated one.
    """

    def __init__(self, model_name: str, using: str | None = None) -> None:
        self.model_name = model_name
        self.using = using

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return (type(self).__qualname__, [self.model_name, self.using], {})

    def _table(self, app_label: str, state: ProjectState) -> str:
        return str(state.apps.get_model(app_label, self.model_name)._meta.db_table)

    def forwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        table = self._table(app_label, state)
        using = self.using or f"farm_group_id = {STATED_GROUP}"
        return [
            f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY',
            f'ALTER TABLE "{table}" FORCE ROW LEVEL SECURITY',
            f'CREATE POLICY stated_group ON "{table}" USING ({using})',
        ]

    def backwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        table = self._table(app_label, state)
        return [
            f'DROP POLICY stated_group ON "{table}"',
            f'ALTER TABLE "{table}" NO FORCE ROW LEVEL SECURITY',
            f'ALTER TABLE "{table}" DISABLE ROW LEVEL SECURITY',
        ]

    def describe(self) -> str:
        return f"Guard the rows of {self.model_name} by farm group"


class KeepWithinGroup(_SqlOperation):
    """Make a foreign key point at rows of the same farm group only.

    Foreign keys ignore row-level security, so each one between tables of a farm
    group carries the group's key with it.
    """

    def __init__(self, model_name: str, field_name: str) -> None:
        self.model_name = model_name
        self.field_name = field_name

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return (type(self).__qualname__, [self.model_name, self.field_name], {})

    def _names(self, app_label: str, state: ProjectState) -> tuple[str, str, str]:
        model = state.apps.get_model(app_label, self.model_name)
        field = model._meta.get_field(self.field_name)
        parent = field.related_model._meta.db_table  # type: ignore[union-attr]
        return model._meta.db_table, str(field.column), str(parent)  # type: ignore[union-attr]

    def forwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        table, column, parent = self._names(app_label, state)
        return [
            f'CREATE UNIQUE INDEX IF NOT EXISTS "{parent}_in_group"'
            f' ON "{parent}" (farm_group_id, id)',
            f'ALTER TABLE "{table}" ADD CONSTRAINT "{table}_{column}_in_group"'
            f' FOREIGN KEY (farm_group_id, "{column}")'
            f' REFERENCES "{parent}" (farm_group_id, id)'
            " DEFERRABLE INITIALLY DEFERRED",
        ]

    def backwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        table, column, _ = self._names(app_label, state)
        return [f'ALTER TABLE "{table}" DROP CONSTRAINT "{table}_{column}_in_group"']

    def describe(self) -> str:
        return f"Keep {self.model_name}.{self.field_name} within its farm group"


class AllowReading(_SqlOperation):
    """Let rows be read, not written, on a further condition.

    `to_owner` gives the right to the tables' owner alone, whom only functions and
    migrations speak as.
    """

    def __init__(
        self, model_name: str, name: str, using: str, *, to_owner: bool = False
    ) -> None:
        self.model_name = model_name
        self.name = name
        self.using = using
        self.to_owner = to_owner

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return (
            type(self).__qualname__,
            [self.model_name, self.name, self.using],
            {"to_owner": self.to_owner},
        )

    def forwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        table = state.apps.get_model(app_label, self.model_name)._meta.db_table
        reader = "CURRENT_USER" if self.to_owner else "PUBLIC"
        return [
            f'CREATE POLICY {self.name} ON "{table}" FOR SELECT TO {reader}'
            f" USING ({self.using})"
        ]

    def backwards_sql(self, app_label: str, state: ProjectState) -> list[str]:
        table = state.apps.get_model(app_label, self.model_name)._meta.db_table
        return [f'DROP POLICY {self.name} ON "{table}"']

    def describe(self) -> str:
        return f"Let rows of {self.model_name} be read: {self.name}"
