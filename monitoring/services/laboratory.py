"""Give a new farm group a laboratory to start with, and change it later."""

from datetime import date

from blocks.models import FarmGroup
from blocks.tenancy import stating
from monitoring.estimation import recovery_from_range
from monitoring.models import Dish, Organism, Recovery, SymptomScale, Tissue

FIRST_ORGANISMS = (
    ("rust_mites", "rust mites", Organism.Role.PEST),
    ("predatory_mites", "predatory mites", Organism.Role.PREDATOR),
    ("thrips", "thrips", Organism.Role.OTHER),
)
# Long before any round that a laboratory could still want to load.
EPOCH = date(1900, 1, 1)
# Common practice: one wash brings 80 to 90 % of the animals off a leaf.
LEAF_RANGE = (0.80, 0.90)
# Schreiner, Skinkis & Dreves 2014, HortTechnology 24:38-47: shoots up to 10 cm.
SHOOT_RANGE = (0.35, 0.81)


def set_up_laboratory(farm_group: FarmGroup) -> None:
    """Add the first organisms, a usual dish, the symptom scale and recoveries."""
    with stating(farm_group.pk):
        for position, (code, name, role) in enumerate(FIRST_ORGANISMS):
            organism = Organism.objects.create(
                farm_group=farm_group,
                code=code,
                name=name,
                role=role,
                position=position,
            )
            add_first_recoveries(organism)
        Dish.objects.create(
            farm_group=farm_group,
            name="15 cm dish",
            inner_diameter_mm=150.0,
            pitch_mm=10.0,
            is_usual=True,
        )
        SymptomScale.objects.create(farm_group=farm_group, valid_from=EPOCH)


def add_first_recoveries(organism: Organism) -> None:
    """Give an organism the recoveries in use until the laboratory has its own.

    Buds stay uncorrected: no recovery is known for them, so their figure is what
    was washed off.
    """
    measured = organism.code == "rust_mites"
    leaf = recovery_from_range(*LEAF_RANGE)
    shoot = recovery_from_range(*SHOOT_RANGE)
    unmeasured = Recovery.Origin.UNMEASURED
    common = {"farm_group_id": organism.farm_group_id, "organism": organism}
    Recovery.objects.create(
        **common,
        tissue=Tissue.LEAF,
        alpha=leaf.a,
        beta=leaf.b,
        origin=Recovery.Origin.COMMON_PRACTICE if measured else unmeasured,
        note="80 to 90 in 100 come off a leaf: common practice",
        valid_from=EPOCH,
    )
    Recovery.objects.create(
        **common,
        tissue=Tissue.SHOOT,
        alpha=shoot.a,
        beta=shoot.b,
        origin=Recovery.Origin.PUBLISHED if measured else unmeasured,
        note="35 to 81 in 100 come off a short shoot: Schreiner et al. 2014",
        valid_from=EPOCH,
    )
