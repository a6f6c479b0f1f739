"""One page for the bench, from everything that the studies tell."""

from xover.report.report import Report, make_report, write_report

__all__ = ["Report", "make_report", "write_report"]
