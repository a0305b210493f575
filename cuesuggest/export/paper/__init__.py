"""What people hold in their hands: live page, list, chart, a page for a tablet."""

__all__ = ["FACES"]

FACES = "'DejaVu Sans Condensed','DejaVu Sans','Liberation Sans',Arial,Helvetica,sans-serif"
"""Of browsers and drawing programs, in order: the chart's words are measured in the first."""
