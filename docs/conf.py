"""How Sphinx builds these pages: Markdown only, no code imported, nothing fetched when a page is read."""

project = "routeplan"
copyright = "routeplan contributors"
extensions = ["myst_parser"]
exclude_patterns = ["_build"]

# Headings are link targets by the names that other readers of Markdown give them.
myst_heading_anchors = 3

html_theme = "furo"
html_title = "routeplan"
html_copy_source = False
html_show_sourcelink = False
html_theme_options = {"sidebar_hide_name": False, "top_of_page_buttons": []}
