"""What is told of results that are calculated from others: derived ones, and values from several lines."""

from __future__ import annotations

from ubudget.bench.derived import NO_COMPONENT
from ubudget.bench.several_lines import NO_LINE

STATUS_OF_JOINED = {
    NO_COMPONENT: "a result that it is calculated from is not available",
    NO_LINE: "no line within range and free of flags",
}
"""By status, beside the words for those of the lines."""
LINES_WORDS = "lines disagree, see their differences"
