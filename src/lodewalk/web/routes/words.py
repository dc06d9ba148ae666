"""Words explained."""

from fastapi import APIRouter

from lodewalk.services.glossary import GlossaryResult, glossary

router = APIRouter(tags=["help"])


@router.get("/glossary")
def show_glossary() -> GlossaryResult:
    """Return the words that pages and reports explain."""
    return glossary()
