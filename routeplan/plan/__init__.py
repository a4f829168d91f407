"""Every move of a site: searched, re-checked and kept."""
