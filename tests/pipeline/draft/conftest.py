import pytest

from pipeline.draft.draft import Draft
from tests.pipeline.draft.drafted import CLINICS, draft_of


@pytest.fixture(scope="session")
def drafts() -> dict[str, Draft]:
    """The five demo clinics, each drafted from its export alone."""
    return {clinic: draft_of(clinic) for clinic in CLINICS}
