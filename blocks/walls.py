"""Migration operations that keep farm groups apart inside the database."""

from typing import Any, cast

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState
from django.db.models import ForeignKey, Model

STATED_GROUP = "nullif(current_setting('washboard.farm_group', true), '')::bigint"
STATED_PERSON = "nullif(current_setting('washboard.person', true), '')::bigint"


class _SqlOperation(Operation):
    """An operation that changes the database but not Django's model state."""

    reduces_to_sql = True
    reversible = True
    model_name: str

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Leave the model state as it is."""

    def forwards_sql(self, model: type[Model]) -> list[str]:
        """Write the statements that put the wall up."""
        raise AssertionError(f"{self} does not say how it is put up: {model}")

    def backwards_sql(self, model: type[Model]) -> list[str]:
        """Write the statements that take it down again."""
        raise AssertionError(f"{self} does not say how it is taken down: {model}")

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,  # noqa: ARG002 - Django's signature
        to_state: ProjectState,
    ) -> None:
        """Run the statements."""
        model = to_state.apps.get_model(app_label, self.model_name)
        for statement in self.forwards_sql(model):
            schema_editor.execute(statement)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,  # noqa: ARG002 - Django's signature
    ) -> None:
        """Run the statements that undo it."""
        model = from_state.apps.get_model(app_label, self.model_name)
        for statement in self.backwards_sql(model):
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
        """Give the arguments, for Django's migration writer."""
        return (type(self).__qualname__, [self.model_name, self.using], {})

    def forwards_sql(self, model: type[Model]) -> list[str]:
        """Enable, force and say who."""
        table = model._meta.db_table
        using = self.using or f"farm_group_id = {STATED_GROUP}"
        return [
            f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY',
            f'ALTER TABLE "{table}" FORCE ROW LEVEL SECURITY',
            f'CREATE POLICY stated_group ON "{table}" USING ({using})',
        ]

    def backwards_sql(self, model: type[Model]) -> list[str]:
        """Open the table again."""
        table = model._meta.db_table
        return [
            f'DROP POLICY stated_group ON "{table}"',
            f'ALTER TABLE "{table}" NO FORCE ROW LEVEL SECURITY',
            f'ALTER TABLE "{table}" DISABLE ROW LEVEL SECURITY',
        ]

    def describe(self) -> str:
        """Say it in one line."""
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
        """Give the arguments, for Django's migration writer."""
        return (type(self).__qualname__, [self.model_name, self.field_name], {})

    def _names(self, model: type[Model]) -> tuple[str, str, str]:
        field = cast("ForeignKey[Any, Any]", model._meta.get_field(self.field_name))
        parent = field.remote_field.model._meta.db_table
        return model._meta.db_table, str(field.column), str(parent)

    def forwards_sql(self, model: type[Model]) -> list[str]:
        """Make the parent's key unique within the group, and refer to that."""
        table, column, parent = self._names(model)
        return [
            f'CREATE UNIQUE INDEX IF NOT EXISTS "{parent}_in_group"'
            f' ON "{parent}" (farm_group_id, id)',
            f'ALTER TABLE "{table}" ADD CONSTRAINT "{table}_{column}_in_group"'
            f' FOREIGN KEY (farm_group_id, "{column}")'
            f' REFERENCES "{parent}" (farm_group_id, id)'
            " DEFERRABLE INITIALLY DEFERRED",
        ]

    def backwards_sql(self, model: type[Model]) -> list[str]:
        """Drop the reference; the parent's index stays for others."""
        table, column, _ = self._names(model)
        return [f'ALTER TABLE "{table}" DROP CONSTRAINT "{table}_{column}_in_group"']

    def describe(self) -> str:
        """Say it in one line."""
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
        """Give the arguments, for Django's migration writer."""
        arguments = [self.model_name, self.name, self.using]
        return (type(self).__qualname__, arguments, {"to_owner": self.to_owner})

    def forwards_sql(self, model: type[Model]) -> list[str]:
        """Add the policy; policies of one table add up."""
        reader = "CURRENT_USER" if self.to_owner else "PUBLIC"
        return [
            f'CREATE POLICY {self.name} ON "{model._meta.db_table}"'
            f" FOR SELECT TO {reader} USING ({self.using})"
        ]

    def backwards_sql(self, model: type[Model]) -> list[str]:
        """Take the policy away."""
        return [f'DROP POLICY {self.name} ON "{model._meta.db_table}"']

    def describe(self) -> str:
        """Say it in one line."""
        return f"Let rows of {self.model_name} be read: {self.name}"
