"""The commissioning report."""

from companion.report.page import report_page

__all__ = ["report_page"]
