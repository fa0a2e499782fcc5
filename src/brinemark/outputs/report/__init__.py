"""Reports as PDF/A: plain data become blocks of text, tables and pictures, and these are set on pages."""

from brinemark.outputs.report.document import Asked, report_pages, set_report
from brinemark.outputs.report.setting import Typefaces, setting_identity, typefaces

__all__ = ["Asked", "Typefaces", "report_pages", "set_report", "setting_identity", "typefaces"]
