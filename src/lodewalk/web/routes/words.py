"""Words explained."""

from lodewalk.services.glossary import GlossaryResult, glossary
from lodewalk.web.described import router_of

router = router_of("help")


@router.get("/glossary")
def show_glossary() -> GlossaryResult:
    """Return the words that pages and reports explain."""
    return glossary()
