"""Pages to open in a browser without network: each one self-contained HTML file."""

from fitup.pages.build_field import crews_of, field_facts
from fitup.pages.build_recovery import recovery_field
from fitup.pages.build_review import review_facts
from fitup.pages.document import field_page, review_page
from fitup.pages.field_facts import FieldFacts
from fitup.pages.review_facts import ReviewFacts

__all__ = [
    "FieldFacts",
    "ReviewFacts",
    "crews_of",
    "field_facts",
    "field_page",
    "recovery_field",
    "review_facts",
    "review_page",
]
