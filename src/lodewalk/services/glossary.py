"""The words that pages and reports explain."""

from dataclasses import dataclass
from functools import cache

from lodewalk.services.page_words import PAGE_WORDS


@dataclass(frozen=True)
class Explained:
    """A word and what it means."""

    word: str
    text: str


@dataclass(frozen=True)
class GlossaryResult:
    """All words that are explained, by their letters."""

    words: list[Explained]


@cache
def glossary() -> GlossaryResult:
    """Return the words that are explained, by their letters; the report's meaning comes first."""
    from lodewalk.handover.rocks_words import ROCK_GLOSSARY
    from lodewalk.handover.words import GLOSSARY

    told = {fact.label: fact.value for fact in (*GLOSSARY, *ROCK_GLOSSARY)}
    words = {**dict(PAGE_WORDS), **told}
    return GlossaryResult([Explained(word, words[word]) for word in sorted(words, key=str.lower)])
