"""What `baskline check` looks at, and what it finds."""

from baskline.findings.everything import look_at_everything
from baskline.findings.finding import Finding

__all__ = ["Finding", "look_at_everything"]
