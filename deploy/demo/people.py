"""The demo's people: invented, one for each role and a second analyst."""

from dataclasses import dataclass
from typing import Literal

DemoRole = Literal["coordinator", "lab", "consultant", "grower"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPerson:
    """Someone who can sign in to the demo; `farm` limits a grower to that farm."""

    name: str
    email: str
    role: DemoRole
    farm: str | None = None
    wants_alerts: bool = False


def _person(name: str, role: DemoRole, **more: str | bool) -> DemoPerson:
    address = name.lower().replace(" ", ".") + "@orrenvale.example"
    return DemoPerson(name=name, email=address, role=role, **more)  # type: ignore[arg-type]  # the two fields above


PEOPLE = (
    _person("Salla Orrin", "coordinator"),
    _person("Mirel Tosk", "lab"),
    _person("Anouk Verrin", "lab"),
    _person("Tomas Brevel", "consultant", wants_alerts=True),
    _person("Ines Quorle", "grower", farm="Tolbeck", wants_alerts=True),
)
# One writes how many random cells were counted, the other which.
NUMBERS_CELLS, NAMES_CELLS = PEOPLE[1].name, PEOPLE[2].name
# Left after last season: the name stands in sheets but is no member's.
FORMER_ANALYST = "Piet Halloc"
