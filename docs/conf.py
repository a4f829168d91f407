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
html_show_sphinx = False
html_static_path = ["_static"]
html_css_files = ["pages.css"]
html_theme_options = {"top_of_page_buttons": []}
