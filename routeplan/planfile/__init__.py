"""Plans, calendars and what a change did on disk: in, out, and whole sets of files."""
