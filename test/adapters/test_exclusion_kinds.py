"""Kinds by the words and open tags that people and files use."""

import pytest

from lodewalk.adapters.exclusion_kinds import KINDS, kind_of_tags, known_kind
from lodewalk.formats.shapes import from_properties


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_itself(kind):
    assert known_kind(kind) == known_kind(kind.upper()) == known_kind(f"{kind}s") == kind


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("high voltage line", "power line"), ("Powerline", "power line"),
        ("overhead line", "power line"), ("pylons", "power line"),
        ("fence wire", "fence"), ("electric fence", "fence"), ("barbed-wire", "fence"),
        ("dirt road", "road"), ("railway track", "road"), ("farm track", "track"),
        ("river bank", "water"), ("ponds", "water"), ("farm house", "building"),
        ("orchard", None), ("roadside camp", None), ("quarry", None),
    ],
)  # fmt: skip
def test_common_words_are_known(word, kind):
    assert known_kind(word) == kind


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ({"power": "line"}, "power line"), ({"power": "tower"}, "power line"),
        ({"highway": "track"}, "track"), ({"highway": "residential"}, "road"),
        ({"highway": "footway"}, None), ({"waterway": "stream"}, "water"),
        ({"natural": "water"}, "water"), ({"natural": "wood"}, None),
        ({"barrier": "fence"}, "fence"), ({"barrier": "hedge"}, None),
        ({"building": "yes"}, "building"), ({"building": "no"}, None),
        ({"landuse": "reservoir"}, "water"), ({"landuse": "industrial"}, "building"),
        ({"landuse": "meadow"}, None), ({"fclass": "river"}, "water"),
        ({"other_tags": '"voltage"=>"110000","power"=>"line"'}, "power line"),
    ],
)  # fmt: skip
def test_open_tags_tell_the_kind(tags, kind):
    assert kind_of_tags(tags) == kind


def test_a_kind_that_is_given_and_known_counts_before_tags():
    def kind(**properties):
        return from_properties((), properties, file="f", line=1).kind

    assert kind(kind="fence", highway="track") == "fence"
    assert kind(kind="feature", Highway="track") == "track"
    assert kind(kind="feature") == "feature"
    assert kind(power=None) is None
