"""The database itself keeps farm groups apart."""

from collections.abc import Callable

import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection, connections, transaction
from django.db.models import ForeignKey, Model
from django.db.utils import IntegrityError, ProgrammingError

from blocks.models import Block, Farm, FarmGroup, Membership
from blocks.tenancy import farm_group_ids, stating, stating_person
from deploy.provisioning import SHARED_TABLES, faults_in_walls
from tests.builders import World

pytestmark = pytest.mark.django_db(databases=["default", "owner"])


def _group_models() -> list[type[Model]]:
    return [
        model
        for model in apps.get_models()
        if any(field.name == "farm_group" for field in model._meta.fields)
    ]


def test_every_table_of_a_farm_group_is_walled() -> None:
    assert faults_in_walls("owner", settings.DATABASES["default"]["USER"]) == []


def test_a_table_without_a_policy_is_found_out() -> None:
    with transaction.atomic("owner"), connections["owner"].cursor() as cursor:
        cursor.execute("CREATE TABLE forgotten (farm_group_id bigint)")
        found = faults_in_walls("owner", settings.DATABASES["default"]["USER"])
        transaction.set_rollback(True, using="owner")
    assert found == ["Table forgotten is open to every farm group."]


def test_every_reference_inside_a_group_carries_the_group() -> None:
    walled = {model._meta.db_table for model in _group_models()}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT conrelid::regclass::text, a.attname FROM pg_constraint c"
            " JOIN pg_attribute a ON a.attrelid = c.conrelid AND a.attnum = c.conkey[2]"
            " WHERE contype = 'f' AND array_length(conkey, 1) = 2"
        )
        kept = set(cursor.fetchall())
    missing = [
        f"{model._meta.db_table}.{field.column}"
        for model in _group_models()
        for field in model._meta.fields
        if isinstance(field, ForeignKey)
        and field.related_model._meta.db_table in walled
        and (model._meta.db_table, field.column) not in kept
    ]
    assert missing == []


def test_shared_tables_are_named_one_by_one() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT relname FROM pg_class WHERE relkind IN ('r', 'p')"
            " AND relnamespace = 'public'::regnamespace AND NOT relrowsecurity"
        )
        open_tables = {name for (name,) in cursor.fetchall()}
    assert open_tables <= SHARED_TABLES


def test_nothing_is_seen_before_a_group_is_stated(world: World) -> None:
    assert Farm.objects.count() == 0
    assert Block.objects.count() == 0
    assert FarmGroup.objects.count() == 0
    assert Membership.objects.count() == 0


def test_only_the_stated_group_is_seen(make_world: Callable[..., World]) -> None:
    first, second = make_world(), make_world()
    with stating(first.group.pk):
        assert set(Block.objects.values_list("farm_group_id", flat=True)) == {
            first.group.pk
        }
        assert not Block.objects.filter(pk=second.block.pk).exists()


def test_the_statement_ends_with_its_transaction(world: World) -> None:
    with stating(world.group.pk):
        assert Farm.objects.exists()
    assert not Farm.objects.exists()


def test_an_inner_statement_gives_way_to_the_outer(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    with stating(first.group.pk):
        with stating(second.group.pk):
            assert Farm.objects.first() in second.farms
        assert Farm.objects.first() in first.farms


def test_a_person_sees_own_memberships_and_their_groups_only(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    person = first.people["grower"]
    with stating_person(person.pk):
        assert list(FarmGroup.objects.all()) == [first.group]
        assert {row.user_id for row in Membership.objects.all()} == {person.pk}
    assert second.group.pk in farm_group_ids()


def test_a_person_cannot_write_themselves_into_a_group(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    person = first.people["grower"]
    with (
        pytest.raises(ProgrammingError, match="row-level security"),
        stating_person(person.pk),
    ):
        Membership.objects.create(
            farm_group=second.group, user=person, role="coordinator"
        )


def test_a_row_cannot_be_written_into_another_group(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    with (
        pytest.raises(ProgrammingError, match="row-level security"),
        stating(first.group.pk),
    ):
        Farm.objects.create(farm_group=second.group, name="Foreign")


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_row_cannot_point_at_another_groups_row(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    with pytest.raises(IntegrityError, match="in_group"), stating(first.group.pk):
        Block.objects.create(
            farm_group=first.group, farm_id=second.farms[0].pk, name="Foreign"
        )


def test_the_site_may_not_empty_tables(world: World) -> None:
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("TRUNCATE blocks_farm CASCADE")
