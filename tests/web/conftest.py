"""Fixtures of the tests of pages."""

from web.web_bench import bench, browser, folder, pages, read_folder

__all__ = ["bench", "browser", "folder", "pages", "read_folder"]
