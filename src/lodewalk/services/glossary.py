"""The words that pages and reports explain."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Explained:
    """A word and what it means."""

    word: str
    text: str


@dataclass(frozen=True)
class GlossaryResult:
    """All words that are explained, by their letters."""

    words: list[Explained]


def glossary() -> GlossaryResult:
    """Return the words that are explained, by their letters."""
    from lodewalk.handover.rocks_words import ROCK_GLOSSARY
    from lodewalk.handover.words import GLOSSARY

    words = sorted((*GLOSSARY, *ROCK_GLOSSARY), key=lambda word: word.label.lower())
    return GlossaryResult([Explained(word.label, word.value) for word in words])
