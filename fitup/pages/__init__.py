"""Pages to open in a browser without network: each one self-contained HTML file."""

from fitup.pages.build_review import review_facts
from fitup.pages.document import review_page
from fitup.pages.review_facts import ReviewFacts

__all__ = ["ReviewFacts", "review_facts", "review_page"]
