"""Standing words of the section on rocks: cautions, and the words of the trade that it uses."""

from typing import Final

from lodewalk.handover.content import Fact

ROCK_CAUTIONS: Final = (
    Fact(
        "No drilling decision from this alone",
        "Siting a hole, a well or a trench needs the judgement of those licensed to practise "
        "there, the permits that local codes ask for, and other evidence beside the field.",
    ),
    Fact(
        "Depth to what",
        "The depth is that to the top of rock that is magnetised. Weathering, water, ore and "
        "layers that aren't magnetic leave no mark of their own; weathered rock may have lost its "
        "magnetisation, and then the body itself reaches higher than its depth says.",
    ),
    Fact(
        "Steel and buried services",
        "Fences, drums, pipes and casings look like small shallow bodies. Go and look at each "
        "target before anything rests on it, and have services located before anyone digs.",
    ),
    Fact(
        "Dip and width",
        "A long body shows one angle only, which mixes dip and the direction of magnetisation. A "
        "dip holds under the stated magnetisation; remanence shifts it. A body deeper than it is "
        "wide shows its strength times width, not its width.",
    ),
    Fact(
        "The interval assumes the kind",
        "A 90 % interval holds if the body is of the kind that is told and lies alone in the "
        "window. Two bodies side by side, or one that bends or changes along its strike, may lie "
        "outside it.",
    ),
)

ROCK_GLOSSARY: Final = (
    Fact("body", "rock that is more or less magnetic than what surrounds it, as a simple shape"),
    Fact("contact", "a face between two rocks of different magnetisation"),
    Fact("dip", "slope of a body below the horizontal, here to the right of its strike"),
    Fact("dyke", "a steep sheet of rock that cuts through others"),
    Fact("index angle", "one angle in which dip, field and magnetisation of a long body mix"),
    Fact("joint fit", "one body fitted to the profiles of several lines at once"),
    Fact("lineament", "a line on the map along which the field changes, traced from the grid"),
    Fact("pick", "a place where a lineament crosses a line and its readings are looked at"),
    Fact("reduction to the pole", "the map as it would be under a vertical field"),
    Fact("remanence", "magnetisation that rock keeps from earlier, in its own direction"),
    Fact("strike", "direction of a body's length, clockwise from grid north"),
    Fact("structural index", "how fast a body's field falls off with distance: 0 for a contact, "
         "1 for a sheet, 2 for a cylinder, 3 for a sphere"),
    Fact("thin sheet", "a dyke narrower than its top is deep; mostly its width doesn't show"),
    Fact("total gradient", "length of the anomaly's gradient; high above the edges of bodies"),
    Fact("vertical derivative", "change of the anomaly with depth; sharpens shallow bodies"),
)  # fmt: skip
