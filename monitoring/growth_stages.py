"""The two published scales of grapevine growth stages, in short words of our own.

BBCH: Lorenz, Eichhorn, Bleiholder, Klose, Meier & Weber 1994/95; the table was read in
an encyclopaedia and put in own words. Modified E-L: Coombe 1995, Aust. J. Grape Wine
Res. 1:100-110, of which only the abstract was read: its numbers are from memory and
unverified, and pages say so.
"""

from dataclasses import dataclass
from typing import Literal

Scale = Literal["BBCH", "EL"]


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage: its scale, its code as stored, and what is seen on the vine."""

    scale: Scale
    code: str
    words: str

    @property
    def written(self) -> str:
        """The stage as sheets write it: “BBCH 75”."""
        return f"{self.scale} {self.code}"


_BBCH = """
00 winter rest
01 buds begin to swell
03 bud swelling ends
05 brown wool
07 green tip just seen
09 green tip clear: budburst
11 first leaf unfolded
12 2 leaves unfolded
13 3 leaves unfolded
14 4 leaves unfolded
15 5 leaves unfolded
16 6 leaves unfolded
17 7 leaves unfolded
18 8 leaves unfolded
19 9 leaves unfolded or more
53 flower clusters visible
55 clusters swell, flowers tight together
57 flowers stand apart
60 first caps loose
61 bloom begins: 10 in 100 caps off
65 full bloom: 50 in 100 caps off
69 bloom ends
71 fruit set
73 berries the size of groats
75 berries the size of peas
77 berries begin to touch
79 most berries touch
81 ripening begins
83 berries colour
85 berries soften
89 ripe for harvest
91 harvest over, wood ripens
92 leaves begin to colour
93 leaf fall begins
95 half the leaves fallen
97 all leaves fallen
99 harvested product
"""
_EL = """
1 winter bud
2 bud scales open
3 wool shows
4 budburst
5 rosette of leaf tips
7 first leaf stands free
9 2 to 3 leaves apart
11 4 leaves apart
12 5 leaves, shoots about 10 cm
13 6 leaves
14 7 leaves
15 8 leaves
16 10 leaves
17 12 leaves, flowers apart
18 14 leaves
19 bloom begins
20 10 in 100 caps off
21 30 in 100 caps off
23 full bloom: 50 in 100 caps off
25 80 in 100 caps off
26 cap fall over
27 fruit set
29 berries the size of peppercorns
31 berries the size of peas
32 bunches close
33 berries hard and green
34 berries begin to soften
35 veraison: berries colour
36 sugar halfway
37 not quite ripe
38 ripe for harvest
39 over-ripe
41 harvest over, canes ripen
43 leaf fall begins
47 leaf fall ends
"""


def _stages(scale: Scale, table: str) -> tuple[Stage, ...]:
    lines = (line.split(" ", 1) for line in table.strip().splitlines())
    return tuple(Stage(scale, code, words) for code, words in lines)


SCALES: dict[Scale, tuple[Stage, ...]] = {
    "BBCH": _stages("BBCH", _BBCH),
    "EL": _stages("EL", _EL),
}
SCALE_NAMES: dict[Scale, str] = {
    "BBCH": "BBCH",
    "EL": "modified E-L (numbers from memory)",
}
EL_CAUTION = (
    "The numbers of the modified E-L scale here are from memory: compare them with the"
    " published chart."
)
STAGE_OF = {stage.written: stage for stages in SCALES.values() for stage in stages}
# Stages that show about the same on both scales; from memory, rough.
ROUGHLY_ALIKE = (
    ("EL 3", "BBCH 05"),
    ("EL 4", "BBCH 09"),
    ("EL 12", "BBCH 15"),
    ("EL 23", "BBCH 65"),
    ("EL 27", "BBCH 71"),
    ("EL 31", "BBCH 75"),
    ("EL 35", "BBCH 81"),
    ("EL 38", "BBCH 89"),
)


def words_of(written: str) -> str:
    """Give a stage's words; those of the last stage before it where it has none."""
    if not written:
        return ""
    if written in STAGE_OF:
        return STAGE_OF[written].words
    scale, _, code = written.partition(" ")
    stages = [
        stage
        for name, of_scale in SCALES.items()
        if name == scale and code.isdigit()
        for stage in of_scale
        if int(stage.code) <= int(code)
    ]
    return f"after “{stages[-1].words}”" if stages else ""
