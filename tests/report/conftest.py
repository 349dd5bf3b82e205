"""The fixtures of this folder; they stand in a module that the type checker reads."""

from report_bench import browser, demo_home, each_trace_worked_out_once, html, material, page_file, view

__all__ = ["browser", "demo_home", "each_trace_worked_out_once", "html", "material", "page_file", "view"]
