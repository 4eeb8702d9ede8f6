"""The report as PDF, written from the same tree as the HTML page.

reportlab is loaded with this package only, since one command needs it.
"""

from companion.report.pdf.sheets import PAPERS, paper_for, report_pdf

__all__ = ["PAPERS", "paper_for", "report_pdf"]
