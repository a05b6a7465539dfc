"""What happens on each block in the two seasons: a table of stories, all invented."""

from deploy.demo.season import (
    Story,
    acaricide,
    broad_insecticide,
    oil,
    sulfur,
)

# By block: last season, then this one.
STORIES: dict[str, tuple[Story, Story]] = {
    # The fresh sheet brings its leap over the threshold.
    "Long Bend": (
        Story(wintered=8, vigour=0.95, predators=0.15, thrips=4),
        Story(wintered=0.24, vigour=1.5, predators=0.35, thrips=4),
    ),
    "Owl Field": (
        Story(wintered=3, vigour=0.8, predators=0.5, thrips=6),
        Story(wintered=4, vigour=0.9, predators=0.5, thrips=6),
    ),
    # Treated last year after its alert, quiet since.
    "Ford Piece": (
        Story(wintered=45, vigour=1.3, treatments=(sulfur(207),), thrips=3),
        Story(wintered=7, vigour=0.9, predators=0.25, treatments=(sulfur(108),)),
    ),
    "Upper Hatch": (
        Story(wintered=5, vigour=0.75, predators=0.3, thrips=2),
        Story(wintered=4, vigour=0.85, predators=0.25, thrips=2),
    ),
    # Hot slope, standing alert; its predators went with a broad insecticide.
    "Stony Rise": (
        Story(wintered=14, vigour=0.85, predators=0.2, thrips=8),
        Story(
            wintered=15,
            vigour=1.02,
            predators=0.3,
            thrips=9,
            treatments=(broad_insecticide(165),),
        ),
    ),
    "Thorn Corner": (
        Story(wintered=2, vigour=0.8, predators=0.1, thrips=5),
        Story(wintered=3, vigour=0.92, predators=0.1, thrips=5),
    ),
    # The largest block: standing alert for the second year.
    "Big Terrace": (
        Story(wintered=30, vigour=1.0, predators=0.05, treatments=(oil(100),)),
        Story(wintered=18, vigour=0.98, predators=0.08, thrips=5),
    ),
    # Predators coping: mites rose, predators followed, mites fall.
    "Kiln Ground": (
        Story(wintered=12, vigour=0.85, predators=0.3, thrips=2),
        Story(wintered=150, vigour=1.33, predators=0.15, thrips=2),
    ),
    "Beech Side": (
        Story(wintered=4, vigour=0.8, predators=0.2, thrips=12),
        Story(wintered=5, vigour=0.9, predators=0.2, thrips=14),
    ),
    # Young vines, judged by a lower threshold of their own.
    "Nettle Top": (
        Story(wintered=4, vigour=0.92, predators=0.05, thrips=10),
        Story(wintered=5, vigour=0.96, predators=0.05, thrips=8),
    ),
    # Treated this summer: falling.
    "Wren Slope": (
        Story(wintered=10, vigour=0.85, predators=0.1, thrips=3),
        Story(
            wintered=38,
            vigour=1.12,
            predators=0.1,
            thrips=3,
            treatments=(acaricide(210),),
        ),
    ),
    "Rook Slope": (
        Story(wintered=8, vigour=0.8, predators=0.1, thrips=3),
        Story(wintered=8, vigour=0.9, predators=0.12, thrips=3),
    ),
    "Lower Cleft": (
        Story(wintered=30, vigour=1.05, predators=0.06, treatments=(sulfur(216),)),
        Story(wintered=14, vigour=0.94, predators=0.08, thrips=4),
    ),
    "Upper Cleft": (
        Story(wintered=6, vigour=0.75, predators=0.4, thrips=4),
        Story(wintered=6, vigour=0.9, predators=0.5, thrips=4),
    ),
    "Sheep Walk": (
        Story(wintered=3, vigour=0.8, predators=0.2, thrips=2),
        Story(wintered=4, vigour=0.85, predators=0.2, thrips=2),
    ),
    # Sulfur at budburst did little; then a summer spray: falling slowly.
    "Two Springs": (
        Story(wintered=22, vigour=1.0, predators=0.1, thrips=5),
        Story(
            wintered=24,
            vigour=1.1,
            predators=0.1,
            thrips=5,
            treatments=(sulfur(107), sulfur(215)),
        ),
    ),
    "Dry Bank": (
        Story(wintered=11, vigour=0.95, predators=0.05, thrips=7),
        Story(wintered=8, vigour=0.97, predators=0.05, thrips=9),
    ),
    "Far Meadow": (
        Story(wintered=2, vigour=0.75, predators=0.3, thrips=3),
        Story(wintered=1.5, vigour=0.9, predators=0.3, thrips=3),
    ),
}
